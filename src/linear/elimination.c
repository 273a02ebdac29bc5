#include "elimination.h"

#include "plain_number.h"

#include "elimination_text.h"
