#include "elimination.h"

#include "lane_number.h"

#include "elimination_text.h"
