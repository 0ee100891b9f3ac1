"""What a monitoring system is shown: figures of the last view, as Prometheus text.

Source: the Prometheus text exposition format, version 0.0.4: ``# HELP`` and ``# TYPE``
before the samples of a name; in a label's value a backslash, a quote and the
line end are escaped; ages and lags are in seconds, sizes in bytes.
"""

from collections.abc import Iterator

from daemon.view import View

KIND = "text/plain; version=0.0.4; charset=utf-8"

Sample = tuple[str, float]  # labels, as they are written; and the figure
Family = tuple[str, str, str, list[Sample]]  # name, kind and words of it


def as_text(view: View, still_s: float | None) -> bytes:
    """The figures of a view; ``still_s`` is how long ago it was shown."""
    lines = []
    for name, kind, words, samples in _families(view, still_s or 0.0):
        lines += [f"# HELP fumarium_{name} {words}", f"# TYPE fumarium_{name} {kind}"]
        lines += [
            f"fumarium_{name}{labels} {float(figure):.15g}"
            for labels, figure in samples
        ]
    return "".join(f"{line}\n" for line in lines).encode()


def _families(view: View, still_s: float) -> Iterator[Family]:
    figures = view.figures
    lag_ms = view.now_ms - view.horizon_ms if view.horizon_ms else 0
    ages = [
        (_labels(channel=one.name), (view.now_ms - one.at_ms) / 1000)
        for one in view.channels
        if one.at_ms
    ]
    for name, kind, words, found in (
        (
            "readings_total",
            "counter",
            "Readings kept since the start.",
            figures.readings,
        ),
        ("refusals_total", "counter", "Refusals in the journal.", figures.refusals),
        ("channel_last_reading_age_seconds", "gauge", "Since its last reading.", ages),
        ("horizon_lag_seconds", "gauge", "How far judging is behind.", lag_ms / 1000),
        ("road_still_seconds", "gauge", "Since the road last moved.", still_s),
        ("broker_connected", "gauge", "Whether it is.", view.broker.connected),
        ("recording", "gauge", "Whether readings are kept.", view.recording.recording),
        ("lots_not_judged", "gauge", "On hold: not understood.", len(view.unjudged)),
        ("open_alerts", "gauge", "Alerts that are not over.", len(view.alerts)),
        ("journal_bytes", "gauge", "Of the file and its log.", figures.journal_bytes),
        ("disk_free_bytes", "gauge", "Where the journal is.", figures.free_bytes),
        ("disk_bytes", "gauge", "Where the journal is.", figures.whole_bytes),
    ):
        yield name, kind, words, found if isinstance(found, list) else [("", found)]


def _labels(**labels: str) -> str:
    def escaped(value: str) -> str:
        quoted = value.replace("\\", "\\\\").replace('"', '\\"')
        return quoted.replace("\n", "\\n")

    inside = ",".join(f'{name}="{escaped(value)}"' for name, value in labels.items())
    return f"{{{inside}}}"
