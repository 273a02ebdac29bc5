#include "run_events.h"

const struct motion_words motion_words[MOTION_NEWS_COUNT] = {
    [NEWS_BRAKING] = {"braking", "braking starts", 0},
    [NEWS_STOP] = {"stop", "the machine stops", 0},
    [NEWS_STANDS] = {"standstill", "the machine stands still", -1},
    [NEWS_CREEPS] = {"creep", "the machine creeps on", 0},
    [NEWS_MOVES] = {"standstill", "the machine moves off", 1},
};
