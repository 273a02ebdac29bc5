"""Every figure that a sentence quotes of the program: command, what of its answer, unit and rounding (figures.py)."""
import re

from .pictures import BRAKING, ENVELOPE, ODDS

HOLD_BACK = "swashloop steady cases/downhill.yaml --engine-limit '2520 rpm' -o hold-back.h5"
HOLD_BACK_LOW_RELIEF = "swashloop steady cases/downhill.yaml --engine-limit '2520 rpm' --set 'relief.setting=250 bar' " \
    "--set 'limiter.setting=230 bar' -o hold-back-low-relief.h5"
HOLD_BACK_BRAKED = "swashloop steady cases/downhill_exhaust_brake.yaml --exhaust-brake '100 %' --engine-limit '2520 rpm' " \
    "-o hold-back-braked.h5"
MODES = "swashloop linear cases/climb.yaml --speed '8 km/h' --grade '15 %' --input grade --signal engine_speed -o modes.h5"
STEP = "swashloop response cases/valve/step.yaml -o step.response.h5"
KEEP = "swashloop response cases/valve/step.yaml --keep 'line_a_pressure <= 460 bar' --jobs 1 -o step.keep.h5"
KEEP_STALL = "swashloop response cases/stall.yaml --keep 'line_a_pressure <= 480 bar' -o stall.keep.h5"
STALL = "swashloop response cases/stall.yaml -o stall.response.h5"
COMPARE = ("swashloop run cases/valve/step.yaml --set 'simulation.output_step=0.1 ms' -o step.h5",
           "swashloop compare step.h5 cases/valve/bench.csv --map cases/valve/bench.yaml -o step.compare.h5")
RELIEF_STUDY = "tools/relief-study cases/stall.yaml -o relief-study.png --csv relief-study.csv"
REFERENCE_FLOW = "--set 'actions[2].to=0 %' --set lines.starved_flow=unlimited"
CLIMB, LINEARLY_IMPLICIT = "baseline/climb", "--set simulation.method=rosenbrock"
NEAR = 1e-6


def run_file(case, options=""):
    return re.sub(r"\W+", "-", f"{case} {options}").strip("-") + ".run.h5"


def run_of(case, options=""):
    return f"swashloop run cases/{case}.yaml {options}{' ' if options else ''}-o {run_file(case, options)}"


def measure(case, name, options=""):
    return lambda shop: shop.document(run_of(case, options))["measures"][name]["value"]


def solver(case, name, options=""):
    return lambda shop: shop.document(run_of(case, options))["solver"][name]


def evaluations_of_a_jacobian(shop):
    """Without the column of time, which only some ask for."""
    counts = shop.document(run_of(CLIMB, LINEARLY_IMPLICIT))["solver"]
    return counts["jacobian_calls"] // counts["jacobians"]


def over_set_speed(case):
    """Highest engine speed of the demo machine over its set speed, 2100 rpm."""
    return lambda shop: measure(case, "engine_speed_max")(shop) / (2100.0 * 2.0 * 3.14159265358979 / 60.0)


def odds(place, name):
    return lambda shop: shop.document(ODDS)["probabilities"][place][name]


def setting(case, path):
    return lambda shop: shop.setting(f"cases/{case}.yaml", path)


# Maps over steady speed: lists in SI, None where there is nothing.

def column(shop, command, name):
    document = shop.document(command)
    return document["axes"]["speed"]["values"] if name == "speed" else document["columns"][name]["values"]


def at(command, name, kilometres_per_hour, size=1.0):
    """A column at a speed, straight between the map's own."""
    def find(shop):
        speed, values = column(shop, command, "speed"), column(shop, command, name)
        wanted = kilometres_per_hour / 3.6
        for k in range(len(speed) - 1):
            if speed[k] - NEAR <= wanted <= speed[k + 1] + NEAR:
                share = (wanted - speed[k]) / (speed[k + 1] - speed[k])
                parts = [value for value, weight in ((values[k], 1.0 - share), (values[k + 1], share)) if weight > NEAR]
                if len(parts) == 2:
                    return size * ((1.0 - share) * values[k] + share * values[k + 1])
                return size * parts[0]
        raise ValueError(f"no speed {kilometres_per_hour} km/h")
    return find


def ended_by(command, word, last, among=lambda speeds: True):
    """The first or last speed at which `word` ends the hold."""
    def find(shop):
        speeds = [speed for speed, limit in zip(column(shop, command, "speed"), shop.document(command)["limit"])
                  if limit == word and among(3.6 * speed)]
        return speeds[-1] if last else speeds[0]
    return find


def last_held(shop):
    return max(speed for speed, grade in zip(column(shop, HOLD_BACK, "speed"), column(shop, HOLD_BACK, "grade_held"))
               if grade is not None)


def held_at_word(command, word):
    """The steepest grade that this word ends."""
    return lambda shop: max(-grade for grade, limit in zip(column(shop, command, "grade_held"), shop.document(command)["limit"])
                            if limit == word and grade is not None)


def mode(words, key):
    """Of the mode whose largest parts are `words`; frequencies in Hz."""
    def find(shop):
        modes = [mode for mode in shop.document(MODES)["modes"] if mode["words"].startswith(words) and mode["damping_ratio"] < 1.0]
        if len(modes) != 1:
            raise ValueError(f"{len(modes)} modes of {words}")
        return modes[0][key] / (6.283185307179586 if key == "natural_frequency" else 1.0)
    return find


def mode_number(words):
    return lambda shop: 1 + [mode["words"].startswith(words) and mode["damping_ratio"] < 1.0
                             for mode in shop.document(MODES)["modes"]].index(True)


def gain_over_slow(shop):
    gains = shop.columns(MODES, "modes.h5")["response/gain"]
    return gains.max() / gains[0]


def rightmost_real(shop):
    return max(mode["real_part"] for mode in shop.document(MODES)["modes"] if mode["imaginary_part"] == 0.0)


def valve(command, name, letter="a"):
    return lambda shop: shop.document(command)["valves"][letter][name]["value"]


def kept_to(path):
    return lambda shop: shop.document(KEEP)["parameters"][path]["kept"]["to"]


def keep_part(name):
    return lambda shop: shop.document(KEEP_STALL)["parts"][name]["value"]


# The review of the demo machine.

REVIEW = "swashloop review cases/reviews/forwarder.yaml --no-runs -o forwarder.h5"
REVIEW_BY_HAND = "swashloop review cases/reviews/forwarder_by_hand.yaml --no-runs --against forwarder.h5 -o by_hand.h5"


def review_limit(command, sentence, key):
    return lambda shop: [limit for limit in shop.document(command)["limits"] if limit["sentence"] == sentence][0][key]


TUNING = "swashloop tune cases/tunings/braking.yaml -o braking.tune.h5"
REVIEW_TUNED = "swashloop review cases/reviews/forwarder_tuned.yaml --no-runs --against forwarder.h5 -o tuned.h5"


def tuned(place):
    """A number of the small tuning's answer."""
    return lambda shop: place(shop.document(TUNING))


def review_tuned(shop):
    shop.document(REVIEW)
    return shop.document(REVIEW_TUNED)


FOOT = "swashloop envelope cases/braking.yaml --set 'ground.grade[1].value=-10 %' --over 'actions[1].over=0.2 s..6 s' -o foot.h5"


def by_hand(shop):
    shop.document(REVIEW)
    return shop.document(REVIEW_BY_HAND)


# The study of braking: columns of its table.

def braking(shop):
    return shop.columns(BRAKING, "braking.h5")


def foot(shop, place):
    """The times that the foot takes in the study, the slowest last."""
    return sorted(set(braking(shop)["actions[1].over"]))[place]


def braked_like(shop, over, relief=420e5):
    """At 14 t: (grade, all limits, stop distance) by grade, the level first."""
    table = braking(shop)
    found = [(grade, kept, distance) for grade, kept, distance, mass, setting_, time in zip(
        table["ground.grade[1].value"], table["all_limits"], table["stop_distance"], table["vehicle.mass"],
        table["relief.setting"], table["actions[1].over"])
        if abs(mass - 14e3) < 1.0 and abs(setting_ - relief) < 1e3 and abs(time - over) < 1e-9]
    return sorted(found, reverse=True)


def kept_down_to(place, relief=420e5):
    """The steepest downgrade down to which every limit is kept, from the level on."""
    def find(shop):
        kept = None
        for grade, all_kept, _ in braked_like(shop, foot(shop, place), relief):
            if all_kept != 1:
                break
            kept = grade
        return kept
    return find


def kept_quicker(shop):
    """How many cases of the quicker feet keep every limit."""
    found = sum(kept == 1 for place in (0, 1) for _, kept, _ in braked_like(shop, foot(shop, place)))
    return found if found else "none"


def edge_case(shop):
    """The case that the picture of the report shows: the slowest foot on the steepest grade that keeps every limit."""
    table, grade = braking(shop), kept_down_to(4)(shop)
    return next(int(case) for case, slope, mass, relief, time in zip(
        table["case"], table["ground.grade[1].value"], table["vehicle.mass"], table["relief.setting"], table["actions[1].over"])
        if abs(slope - grade) < 1e-9 and abs(mass - 14e3) < 1.0 and abs(relief - 420e5) < 1e3 and time == foot(shop, 4))


def stop_with(place, grade):
    return lambda shop: next(distance for slope, _, distance in braked_like(shop, foot(shop, place)) if abs(slope - grade) < 1e-9)


def count(command, name, sentence=None):
    """Cases that keep every limit, or of a limit those that break it."""
    def find(shop):
        table = shop.columns(command, name)
        return int((table["all_limits"] == 1).sum()) if sentence is None else int((table[sentence] == 0).sum())
    return find


def cases_of(command, name):
    return lambda shop: len(shop.columns(command, name)["case"])


def worst_engine(shop):
    table = braking(shop)
    worst = table["limit_1_engine_speed_worst"]
    return int(worst.argmax()), worst.max()


def worst_margin(shop):
    return worst_engine(shop)[1] / limit_of("braking", "engine_speed")(shop)["level"] - 1.0


def rank_correlation(path, name):
    def find(shop):
        import numpy

        def ranks(values):
            order = numpy.argsort(values, kind="stable")
            ranked = numpy.empty(len(values))
            ranked[order] = numpy.arange(len(values))
            for value in numpy.unique(values):
                same = values == value
                ranked[same] = ranked[same].mean()
            return ranked
        table = braking(shop)
        return float(numpy.corrcoef(ranks(table[path]), ranks(table[name]))[0, 1])
    return find


def handover(shop):
    """Rows of the study: (relief setting in bar, limiter lag in ms): (verdict, handover time)."""
    import csv
    shop.run(RELIEF_STUDY)
    with open(shop.path("relief-study.csv"), encoding="utf-8") as file:
        return {(float(row["value"]), float(row["second_value"])): (row["verdict"], row["handover_time"])
                for row in csv.DictReader(file) if row["what"] == "map"}


def settings_with(verdict, pick, lags=lambda lag: True):
    """The lowest or highest relief setting at which every lag comes to that verdict."""
    def find(shop):
        study = handover(shop)
        return 1e5 * pick(setting_ for setting_ in {key[0] for key in study}
                          if all(study[key][0] == verdict for key in study if key[0] == setting_ and lags(key[1])))
    return find


def handover_times(pick):
    return lambda shop: pick(float(time) for verdict, time in handover(shop).values() if verdict == "handover")


def shut_longest_lag(shop):
    """The longest lag of the limiter with which the valve stays shut from the setting on at which it first does."""
    study = handover(shop)
    first = min(key[0] for key, found in study.items() if found[0] == "limiter alone")
    return 1e-3 * max(key[1] for key, found in study.items() if key[0] == first and found[0] == "limiter alone")


def shut_at_lag(lag):
    return lambda shop: 1e5 * min(key[0] for key, found in handover(shop).items()
                                  if key[1] == lag and found[0] == "limiter alone")


def study_size(shop):
    shop.run(RELIEF_STUDY)
    with open(shop.path("relief-study.csv"), encoding="utf-8") as file:
        return sum(1 for line in file) - 1


def compared(shop, name):
    shop.run(COMPARE[0])
    return shop.columns(COMPARE[1], "step.compare.h5")[name]


def largest_off(signal):
    return lambda shop: max(abs(off) for off in compared(shop, f"run/{signal}") - compared(shop, signal) if off == off)


def held_after_feed(shop):
    """The run's pressure over the trace's once the feed has ended and the valve is shut."""
    late = compared(shop, "time") > 0.13
    return (compared(shop, "run/line_a_pressure") - compared(shop, "line_a_pressure"))[late].mean()


def drawn_from_case(find):
    """While the case gives oil back to the loop: of its flow, over the times of the samples."""
    def of_run(shop):
        table = shop.columns(run_of("hose_burst"), run_file("hose_burst"))
        return find(table["time"][table["case_flow"] < 0.0], table["case_flow"])
    return of_run


def celsius(*of):
    return lambda shop: measure(*of)(shop) - 273.15


def limit_of(case, name):
    def find(shop):
        return next(limit for limit in shop.document(run_of(case))["limits"] if limit["name"] == name)
    return find


def over_level(case, name):
    return lambda shop: abs(limit_of(case, name)(shop)["worst"] / limit_of(case, name)(shop)["level"] - 1.0)


def event_time(case, name):
    return lambda shop: next(event["time"] for event in shop.document(run_of(case))["events"] if event["name"] == name)


def checked(case, numbers, but=(), of=None, options=""):
    """How far `sensitivity --check` is off at most, of the largest effect on each measure: of all measures `but` some, or
    those `of` a list."""
    paths = " ".join(f"--to '{path}'" for path in numbers)
    name = re.sub(r"\W+", "-", f"{case} {options} check").strip("-")
    command = f"swashloop sensitivity cases/{case}.yaml {paths} --check {options}{' ' if options else ''}-o {name}.h5"

    def find(shop):
        worst = 0.0
        for measure_name, told in shop.document(command)["measures"].items():
            rows = [row for row in told["ranking"] if row["effect"] and row["derivative"] and row["difference"] is not None]
            if not rows or measure_name in but or (of and measure_name not in of):
                continue
            largest = max(abs(row["effect"]) for row in rows)
            worst = max([worst, *(abs((row["difference"] / row["derivative"] - 1.0) * row["effect"]) / largest for row in rows)])
        return worst
    return find


RELIEF_NUMBERS = ("relief.setting", "relief.gradient", "relief.lag", "rig.volume", "fluid.air_content")
POPPET_NUMBERS = ("relief.setting", "relief.spring_rate", "relief.poppet_damping", "rig.feed[2].argument+rig.feed[3].argument")
STALL_NUMBERS = ("relief.setting", "limiter.setting", "relief.lag", "limiter.lag", "lines.volume_a", "engine.inertia",
                 "operator.forward_pedal[3].argument")
DOWNHILL_NUMBERS = ("vehicle.mass", "relief.setting", "motor.rate_up", "ground.grade[3].value")
THREE_SECONDS = "--set 'simulation.end_time=3 s'"
TIGHTLY = "--set simulation.relative_tolerance=1e-9"

FIGURES = {
    # steady.md
    "hold.at_7": (at(HOLD_BACK, "grade_held", 7.0, -1.0), ".1f %"),
    "hold.at_10.5": (at(HOLD_BACK, "grade_held", 10.5, -1.0), ".1f %"),
    "hold.at_20": (at(HOLD_BACK, "grade_held", 20.0, -1.0), ".1f %"),
    "hold.grip": (held_at_word(HOLD_BACK, "grip"), ".0f %"),
    "hold.hot_up_to": (ended_by(HOLD_BACK, "heat", True, lambda speed: speed < 15.0), ".1f km/h"),
    "hold.engine_up_to": (ended_by(HOLD_BACK, "engine braking", True), ".1f km/h"),
    "hold.last": (last_held, ".1f km/h"),
    "hold.slope_power": (at(HOLD_BACK, "slope", 7.0), ".0f kW"),
    "hold.engine_friction": (at(HOLD_BACK, "engine_friction", 7.0), ".0f (kW)"),
    "hold.auxiliaries": (at(HOLD_BACK, "auxiliaries", 7.0), ".0f (kW)"),
    "hold.rolling": (at(HOLD_BACK, "rolling", 7.0), ".0f (kW)"),
    "hold.relief_up_to": (ended_by(HOLD_BACK_LOW_RELIEF, "relief valve", True), ".1f km/h"),
    "hold.relief": (held_at_word(HOLD_BACK_LOW_RELIEF, "relief valve"), ".0f %"),
    "hold.at_10": (at(HOLD_BACK, "grade_held", 10.0, -1.0), ".0f %"),
    "hold.braked_at_10": (at(HOLD_BACK_BRAKED, "grade_held", 10.0, -1.0), ".0f %"),
    "hold.braked_hot_from": (ended_by(HOLD_BACK_BRAKED, "heat", False, lambda speed: speed > 10.0), ".1f km/h"),
    "downhill.relief": (setting("downhill", "relief.setting"), ""),
    # linear.md
    "mode.loop": (mode("the machine's motion", "natural_frequency"), ".2f Hz"),
    "mode.loop_damping": (mode("the machine's motion", "damping_ratio"), ".2f"),
    "mode.loop_number": (mode_number("the machine's motion"), ".0f"),
    "mode.governor": (mode("engine speed against fuel", "natural_frequency"), ".1f Hz"),
    "mode.governor_damping": (mode("engine speed against fuel", "damping_ratio"), ".2f"),
    "mode.governor_number": (mode_number("engine speed against fuel"), ".0f"),
    "mode.tyres": (mode("wheels against deflection", "natural_frequency"), ".1f Hz"),
    "mode.tyres_damping": (mode("wheels against deflection", "damping_ratio"), ".2f"),
    "mode.tyres_number": (mode_number("wheels against deflection"), ".0f"),
    "mode.charge": (mode("opening of the charge relief", "natural_frequency"), ".0f Hz"),
    "mode.charge_damping": (mode("opening of the charge relief", "damping_ratio"), ".2f"),
    "mode.charge_number": (mode_number("opening of the charge relief"), ".0f"),
    "mode.bumps": (lambda shop: 8.0 / 3.6 / mode("the machine's motion", "natural_frequency")(shop), ".1f m"),
    "mode.gain": (gain_over_slow, ".1f"),
    "mode.rightmost": (rightmost_real, ".0f 1/s"),
    "stall.band": (setting("stall", "limiter.band"), ""),
    # response.md
    "keep.worst": (lambda shop: shop.document(KEEP)["worst"]["value"], ".1f bar"),
    "keep.margin": (lambda shop: shop.document(KEEP)["margin"]["value"], ".1f bar"),
    "keep.damping": (kept_to("relief.poppet_damping"), "s3 N s/m"),
    "keep.spring": (kept_to("relief.spring_rate"), ".0f N/mm"),
    "keep.mass": (kept_to("relief.poppet_mass"), ".1f kg"),
    "keep.setting": (kept_to("relief.setting"), ".1f bar"),
    "keep.runs": (lambda shop: shop.document(KEEP)["run_count"], ""),
    "keep_stall.override": (keep_part("static_override"), ".1f bar"),
    "keep_stall.limiter": (lambda shop: -keep_part("limiter")(shop), ".1f bar"),
    "keep_stall.lag": (keep_part("valve_lag"), ".1f bar"),
    "step.rise": (valve(STEP, "rise_rate"), "s2 bar/s"),
    "step.overshoot": (valve(STEP, "overshoot"), ".1f bar"),
    "step.settled": (valve(STEP, "settled_drop"), ".1f bar"),
    "step.overshoot_share": (valve(STEP, "overshoot_share"), ".1f %"),
    "step.response": (valve(STEP, "response_time"), ".1f ms"),
    "step.opening": (valve(STEP, "opening_time"), ".1f ms"),
    "step.settling": (valve(STEP, "settling_time"), ".1f ms"),
    "step.frequency": (valve(STEP, "frequency"), ".0f Hz"),
    "step.damping": (valve(STEP, "damping_ratio"), ".2f"),
    "step.reseat": (valve(STEP, "reseat_drop"), ".0f bar"),
    "step.hysteresis": (valve(STEP, "hysteresis"), ".0f bar"),
    "step.setting": (setting("valve/step", "relief.setting"), ""),
    "step.start": (setting("valve/step", "rig.start_pressure"), ""),
    "step.feed": (setting("valve/step", "rig.feed_flow"), ""),
    "step.temperature": (setting("valve/step", "rig.oil_temperature"), ""),
    "cold.temperature": (setting("valve/cold", "rig.oil_temperature"), ""),
    "rise.rise": (setting("valve/rise", "rig.rise"), ""),
    "stall.opening_pressure": (valve(STALL, "opening_pressure"), ".1f bar"),
    "stall.reseat_pressure": (valve(STALL, "reseat_pressure"), ".1f bar"),
    "stall.hysteresis": (valve(STALL, "hysteresis"), ".1f bar"),
    "stall.open": (valve(STALL, "open_time"), ".0f ms"),
    "stall.limiter": (setting("stall", "limiter.setting"), ""),
    "study.runs": (study_size, ".0f"),
    "study.held_up_to": (settings_with("relief to the end", max), ".0f bar"),
    "study.handover_from": (settings_with("handover", min), ".0f bar"),
    "study.quickest": (handover_times(min), "s2 (ms)"),
    "study.slowest": (handover_times(max), "s2 ms"),
    "study.shut_from": (lambda shop: 1e5 * min(key[0] for key, found in handover(shop).items() if found[0] == "limiter alone"),
                        ".0f bar"),
    "study.shut_lag": (shut_longest_lag, ".0f ms"),
    "study.shut_at_20": (shut_at_lag(20.0), ".0f bar"),
    # compare.md
    "compare.flow_off": (largest_off("relief_a_flow"), ".1f L/min"),
    "compare.held": (held_after_feed, ".1f bar"),
    # sensitivity.md
    "check.relief": (checked("baseline/relief_step", RELIEF_NUMBERS, but=["relief_a_peak_flow"]), "<"),
    "check.relief_flow": (checked("baseline/relief_step", RELIEF_NUMBERS, of=["relief_a_peak_flow"]), "<"),
    "check.relief_flow_tight": (checked("baseline/relief_step", RELIEF_NUMBERS, of=["relief_a_peak_flow"], options=TIGHTLY), "<"),
    "check.poppet": (checked("valve/step", POPPET_NUMBERS, but=["relief_a_peak_flow"]), "<"),
    "check.poppet_flow": (checked("valve/step", POPPET_NUMBERS, of=["relief_a_peak_flow"]), "<"),
    "check.stall": (checked("stall", STALL_NUMBERS, but=["peak_line_b_pressure"], options=THREE_SECONDS), "<"),
    "check.stall_low": (checked("stall", STALL_NUMBERS, of=["peak_line_b_pressure"], options=THREE_SECONDS), "<"),
    "check.downhill": (checked("downhill", DOWNHILL_NUMBERS, of=["peak_line_a_pressure", "peak_line_b_pressure", "engine_speed_max",
                                                                 "engine_speed_min", "vehicle_speed_max"]), "<"),
    "check.downhill_stop": (checked("downhill", DOWNHILL_NUMBERS, of=["stop_distance"]), "<"),
    "check.downhill_time": (checked("downhill", DOWNHILL_NUMBERS, of=["stop_time"]), "<"),
    "check.downhill_heat": (checked("downhill", DOWNHILL_NUMBERS, of=["loop_oil_temperature_max"]), "<"),
    # numerics.md and lanes.md
    "default.relative": (solver("downhill", "relative_tolerance"), "e0"),
    "default.pressure": (solver("downhill", "pressure_tolerance"), ".0f Pa"),
    "sparse.evaluations": (evaluations_of_a_jacobian, ".0f"),
    "sparse.states": (lambda shop: len(shop.columns(run_of(CLIMB, LINEARLY_IMPLICIT), run_file(CLIMB, LINEARLY_IMPLICIT))[
        "solver/state_name"]), ".0f"),
    # physics.md
    "burst.area": (setting("hose_burst", "fault.burst_area"), ""),
    "burst.reference": (measure("hose_burst", "vehicle_speed_end", REFERENCE_FLOW), ".1f km/h"),
    "burst.by_content": (measure("hose_burst", "vehicle_speed_end", "--set 'actions[2].to=0 %'"), ".1f km/h"),
    "burst.case_time": (drawn_from_case(lambda times, flow: len(times) * 1e-3), ".0f ms"),
    "burst.case_power": (drawn_from_case(lambda times, flow: -flow.min() * 0.987e5), ".2f W"),
    "heat.two": (celsius("downhill_exhaust_brake", "loop_oil_temperature_max", "--set heat.nodes=two"), ".0f degC"),
    "heat.four": (celsius("downhill_exhaust_brake", "loop_oil_temperature_max"), ".0f degC"),
    "level.release": (over_set_speed("level_release"), ".0f %"),
    "level.ratio": (over_set_speed("level_ratio_ramp"), ".0f %"),
    "level.gentle": (over_set_speed("level_gentle_ramp"), ".0f %"),
    "level.ratio_stop": (measure("level_ratio_ramp", "stop_time"), ".1f s"),
    "level.gentle_stop": (measure("level_gentle_ramp", "stop_time"), ".1f s"),
    # report.md and sweeps.md
    "downhill.over": (over_level("downhill", "engine_speed"), ".0f %"),
    "downhill.overspeed": (event_time("downhill", "engine_overspeed"), ".3f s"),
    "envelope.foot_from": (lambda shop: shop.document(FOOT)["changes"][0]["kept_side"]["first"], ".2f s"),
    "envelope.foot_to": (lambda shop: shop.document(FOOT)["changes"][1]["kept_side"]["first"], ".2f s"),
    "envelope.points": (lambda shop: shop.document(ENVELOPE)["points"], ".0f"),
    "odds.runs": (lambda shop: shop.document(ODDS)["runs"], ".0f"),
    "odds.any": (odds(0, "probability"), ".1f %"),
    "odds.any_low": (odds(0, "low"), ".1f (%)"),
    "odds.any_high": (odds(0, "high"), ".1f %"),
    "odds.speed": (odds(1, "probability"), ".1f %"),
    "odds.stop": (odds(7, "probability"), ".1f %"),
    "odds.none_high": (odds(2, "high"), ".3f %"),
    "envelope.grid": (lambda shop: shop.document(ENVELOPE)["grid_points_of_the_same_accuracy"], ".0f"),
    "tuning.stop_before": (tuned(lambda answer: answer["at_start"]["goal"]), ".2f m"),
    "tuning.stop": (tuned(lambda answer: answer["goals"][0]["found"]), ".2f m"),
    "tuning.ramp": (tuned(lambda answer: answer["settings"][1]["found"]), ".1f s"),
    "tuning.droop": (tuned(lambda answer: answer["settings"][2]["found"]), ".1f %"),
    "tuning.droop_back": (tuned(lambda answer: answer["settings"][2]["taken_back"]["worst_margin"]), ".1f %"),
    "tuning.price": (tuned(lambda answer: answer["binding"][0]["better_by_one_per_cent"]), ".2f m"),
    "tuning.margin_most": (tuned(lambda answer: answer["trade_off"][-1]["second_goal"]), ".1f %"),
    "tuning.stop_most": (tuned(lambda answer: answer["trade_off"][-1]["goal"]), ".1f m"),
    "tuning.agreeing": (tuned(lambda answer: answer["starts_agreeing"]), ".0f"),
    "tuning.points": (tuned(lambda answer: answer["points"]), ".0f"),
    "review.kept_tuned": (lambda shop: review_tuned(shop)["counts"]["kept"], ".0f"),
    "review.narrowest_tuned": (lambda shop: min(cell["margin"] for cell in review_tuned(shop)["cells"]), ".1f %"),
    "review.cells": (lambda shop: shop.document(REVIEW)["counts"]["cells"], ".0f"),
    "review.kept": (lambda shop: shop.document(REVIEW)["counts"]["kept"], ".0f"),
    "review.overspeed": (review_limit(REVIEW, "engine_speed <= 2520 rpm", "broken"), ".0f"),
    "review.overspeed_worst": (review_limit(REVIEW, "engine_speed <= 2520 rpm", "margin"), ".0f %"),
    "review.stall_heat": (review_limit(REVIEW, "relief_heat <= 5 kJ", "worst"), ".0f kJ"),
    "review.kept_by_hand": (lambda shop: by_hand(shop)["counts"]["kept"], ".0f"),
    "review.doubtful": (lambda shop: by_hand(shop)["counts"]["kept_not_vouched"], ".0f"),
    "review.mended": (lambda shop: by_hand(shop)["changes"]["mended"], ".0f"),
    "review.worse": (lambda shop: by_hand(shop)["changes"]["worse"], ".0f"),
    "review.narrowest": (lambda shop: min(cell["margin"] for cell in by_hand(shop)["cells"]), ".1f %"),
    "review.stop_left": (lambda shop: review_limit(REVIEW_BY_HAND, "vehicle_speed <= 1 km/h within 5 s", "margin")(shop),
                         ".0f %"),
    "braking.cases": (cases_of(BRAKING, "braking.h5"), ".0f"),
    "braking.kept": (count(BRAKING, "braking.h5"), ".0f"),
    "braking.engine_broken": (count(BRAKING, "braking.h5", "limit_1_engine_speed"), ".0f"),
    "braking.worst_case": (lambda shop: worst_engine(shop)[0], ".0f"),
    "braking.worst": (worst_margin, ".0f %"),
    "braking.kept_share": (lambda shop: count(BRAKING, "braking.h5")(shop) / cases_of(BRAKING, "braking.h5")(shop), ".0f %"),
    "braking.grade_rank": (rank_correlation("ground.grade[1].value", "engine_speed_max"), ".2f"),
    "braking.mass_rank": (rank_correlation("vehicle.mass", "engine_speed_max"), ".2f"),
    "braking.foot_4": (lambda shop: foot(shop, 4), ".0f s"),
    "braking.foot_3": (lambda shop: foot(shop, 3), "s2 s"),
    "braking.foot_2": (lambda shop: foot(shop, 2), "s1 s"),
    "braking.down_4": (kept_down_to(4), ".0f %"),
    "braking.down_3": (kept_down_to(3), ".0f %"),
    "braking.down_2": (kept_down_to(2), ".0f %"),
    "braking.low_relief_down": (kept_down_to(0, 180e5), ".1f %"),
    "braking.edge_case": (edge_case, ".0f"),
    "braking.quick_kept": (kept_quicker, ""),
    "braking.slow_stop": (stop_with(4, -0.05), ".1f m"),
    "braking.quick_stop": (stop_with(0, -0.05), ".1f m"),
    "pairs.cases": (lambda shop: cases_of("swashloop sweep cases/studies/braking_pairs.yaml -o pairs.h5", "pairs.h5")(shop) / 2, ".0f"),
}
