#include "rosenbrock.h"

#include <math.h>
#include <stdlib.h>

#include "aligned.h"
#include "elimination.h"
#include "lane_number.h"
#include "rodas4.h"

#include "rosenbrock_text.h"
