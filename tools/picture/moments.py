"""Moments of runs as ends of the window: --from release, --to stop+1, --from relief_a."""
import re

from .errors import PlotError


def parse_moment(text):
    """("", 1.5): seconds; ("release", -0.5): that much after a moment of the run."""
    match = re.fullmatch(r"([A-Za-z]\w*)?\s*([+-]?\s*(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)?\s*s?", text.strip())
    if not match or not (match.group(1) or match.group(2)):
        raise PlotError(f"\"{text}\" is no time: expected seconds, or a moment of the run such as release, stop or release-0.5")
    return match.group(1) or "", float((match.group(2) or "0").replace(" ", ""))


def moment_of(run, word, option):
    """When the pedal was let go, when the machine stood, or when an event of this name first came."""
    known = {"release": run.moment("stop_from"), "stop": run.moment("stop_from") + run.measure("stop_time")}
    for event in run.events:
        known.setdefault(event.name, event.time)
    known = {name: time for name, time in known.items() if time == time}
    if word not in known:
        why = "nothing brakes in this run; " if word == "release" else ""
        raise PlotError(f"{run.path}: {option} {word}: {why}moments of this run: {', '.join(known) or 'none'}")
    return known[word]


def settle_window(options, runs):
    """--from and --to in seconds: of several runs the earliest start and the latest end."""
    for which, name, best in (("low", "--from", min), ("high", "--to", max)):
        given = getattr(options, which)
        if given is None:
            continue
        word, seconds = given
        if word and not runs:
            raise PlotError(f"{name} {word}: only a run has moments, expected seconds")
        setattr(options, which, best(moment_of(run, word, name) + seconds for run in runs) if word else seconds)
    if options.low is not None and options.high is not None and not options.low < options.high:
        raise PlotError(f"--from {options.low:g} is not before --to {options.high:g}")
