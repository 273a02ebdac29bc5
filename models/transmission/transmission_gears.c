/* Which gearboxes and transfer cases can be, and the modes of the gearbox: which gears its two clutches belong to, how
 * far they are closed over time, and when a shift begins, ends or is refused (gearbox.h). */
#include "transmission.h"

const char *transmission_gear_refusal(const struct transmission_parameters *own) {
  if (own->gearbox.ratio_4 > 0.0 && !(own->gearbox.ratio_3 > 0.0 && own->gearbox.ratio_2 > 0.0)) {
    return "gearbox.ratio_4 without ratio_2 and ratio_3: gears are counted without gaps";
  }
  if (own->gearbox.ratio_3 > 0.0 && !(own->gearbox.ratio_2 > 0.0)) {
    return "gearbox.ratio_3 without ratio_2: gears are counted without gaps";
  }
  if (own->gearbox.law != GEARBOX_NONE && own->operator.gear.smooth) {
    return "operator.gear goes in steps; it cannot be smooth";
  }
  if (own->transfer_case.law != TRANSFER_CASE_NONE && own->vehicle.axles != VEHICLE_TWO_AXLES) {
    return "transfer_case.law drives two axles; it needs vehicle.axles two";
  }
  if (own->transfer_case.law != TRANSFER_CASE_NONE && own->vehicle.second_motor == VEHICLE_SECOND_MOTOR) {
    return "the front axle is driven by the second motor or by the transfer case, not by both; take "
           "vehicle.second_motor "
           "no or transfer_case.law none";
  }
  return NULL;
}

/* A clutch that stays as it is. */
static struct piece still(real t, real share) {
  struct piece piece = {0, t, share, 0.0, t, HUGE_VAL, NULL};
  return piece;
}

/* Gear that the lever stands at; 0 while it moves. */
static int asked_gear(const struct transmission_mode *mode) {
  const struct piece *lever = &mode->channels[CHANNEL_gear].piece;
  return lever->slope == 0.0 ? (int)floor(lever->value + 0.5) : 0;
}

/* Clutch `k` belongs to a gear from now on. */
static void give_gear(const struct transmission_model *model, struct transmission_mode *mode, int k, int gear) {
  mode->gear_ratio[k] = gearbox_ratio(&model->own.gearbox, gear);
  mode->gear_efficiency[k] = gearbox_efficiency(&model->own.gearbox, gear);
}

void transmission_start_gear(const struct transmission_model *model, struct transmission_mode *mode) {
  int gear = asked_gear(mode);
  gear = gearbox_ratio(&model->own.gearbox, gear) > 0.0 ? gear : 1;
  mode->gear = gear;
  mode->engaged_is_a = 1.0;
  mode->shifting = false;
  mode->refused = 0;
  for (int k = 0; k < GEARBOX_SLOTS; k++) {
    give_gear(model, mode, k, gear);
    mode->gear_clutch[k] = still(0.0, k == 0 ? 1.0 : 0.0);
  }
  transmission_note_gear(model, mode); /* a lever at a gear that is not there is told */
}

void transmission_note_gear(const struct transmission_model *model, struct transmission_mode *mode) {
  int asked = asked_gear(mode);
  if (asked != mode->refused) {
    mode->refused = 0;
  }
  mode->shift_due = model->geared && !mode->shifting && asked > 0 && asked != (int)mode->gear && asked != mode->refused;
}

const char *transmission_shift(const struct transmission_model *model, struct transmission_mode *mode, real t,
                               real speed) {
  static const char *const begins[GEARBOX_GEARS] = {
      "the gearbox begins to shift to gear 1", "the gearbox begins to shift to gear 2",
      "the gearbox begins to shift to gear 3", "the gearbox begins to shift to gear 4"};
  const struct gearbox_parameters *box = &model->own.gearbox;
  int asked = asked_gear(mode);
  if (!mode->shift_due) {
    return NULL;
  }
  mode->shift_due = false;
  if (asked < 1 || asked > GEARBOX_GEARS || !(gearbox_ratio(box, asked) > 0.0)) {
    mode->refused = asked;
    return "the gearbox has no such gear: the shift is refused";
  }
  if (box->law == GEARBOX_STANDSTILL && fabs(speed) > box->standstill_speed) {
    mode->refused = asked;
    return "the machine moves, and the gearbox shifts at standstill only: the shift is refused";
  }
  int from = mode->engaged_is_a > 0.5 ? 0 : 1;
  int to = 1 - from;
  real delay = gearbox_closing_delay(box);
  mode->gear_clutch[from] = piece_move(&mode->gear_clutch[from], t, 0.0, box->shift_time);
  give_gear(model, mode, to, asked);
  struct piece open = still(t, 0.0);
  mode->gear_clutch[to] = open;
  if (delay > clock_apart(t)) {
    mode->gear_clutch[to].high = t + delay; /* then it closes: transmission_gear_clock */
  } else {
    mode->gear_clutch[to] = piece_move(&open, t, 1.0, box->shift_time);
  }
  mode->gear = asked;
  mode->engaged_is_a = to == 0 ? 1.0 : 0.0;
  mode->shifting = true;
  return begins[asked - 1];
}

const char *transmission_gear_clock(const struct transmission_model *model, struct transmission_mode *mode, real t,
                                    real due) {
  static const char *const ends[GEARBOX_GEARS] = {"gear 1 is engaged", "gear 2 is engaged", "gear 3 is engaged",
                                                  "gear 4 is engaged"};
  const char *message = NULL;
  for (int k = 0; model->geared && k < GEARBOX_SLOTS; k++) {
    struct piece *clutch = &mode->gear_clutch[k];
    while (clutch->high <= due) {
      if (clutch->slope == 0.0) {
        struct piece waits = *clutch;
        *clutch = piece_move(&waits, larger(t, waits.high), 1.0, model->own.gearbox.shift_time);
        continue;
      }
      bool closes = clutch->slope > 0.0;
      *clutch = piece_rest(clutch, t);
      if (closes) {
        mode->shifting = false;
        message = ends[(int)mode->gear - 1];
      }
    }
  }
  transmission_note_gear(model, mode);
  return message;
}

real transmission_gear_next_time(const struct transmission_mode *mode) {
  return smaller(mode->gear_clutch[0].high, mode->gear_clutch[1].high);
}

bool transmission_gear_moves(const struct transmission_mode *mode) {
  return mode->gear_clutch[0].slope != 0.0 || mode->gear_clutch[1].slope != 0.0;
}
