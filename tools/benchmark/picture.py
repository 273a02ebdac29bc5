"""The work-precision picture."""
import matplotlib

matplotlib.use("Agg")
import matplotlib.pyplot as plt  # noqa: E402

LOOKS = {
    "BDF to order 2": ("#b4651f", "s"),
    "BDF to order 3": ("#2f7f6f", "^"),
    "BDF to order 5": ("#1f5fa8", "o"),
    "rosenbrock": ("#8a3a8a", "D"),
}


def draw(rows, path, allowed, default_relative):
    names = list(dict.fromkeys(row["case"] for row in rows))
    figure, axes = plt.subplots(2, 2, figsize=(9.0, 6.6), sharex=True, sharey=True, layout="constrained")
    for name, axis in zip(names, axes.flat):
        for method, (colour, mark) in LOOKS.items():
            line = [row for row in rows if row["case"] == name and row["method"] == method]
            axis.plot([max(row["error_bar"], 1e-5) for row in line], [row["ms_per_s"] for row in line], mark + "-",
                      color=colour, markersize=4, linewidth=1.2, label=method)
        chosen = [row for row in rows if row["case"] == name and row["method"] == "BDF to order 5"
                  and row["relative_tolerance"] == default_relative]
        for row in chosen:
            axis.plot([max(row["error_bar"], 1e-5)], [row["ms_per_s"]], "o", markersize=11, markerfacecolor="none",
                      markeredgecolor="black", label="default")
        axis.axvline(allowed, color="#a02020", linewidth=1.0, linestyle="--")
        axis.set_xscale("log")
        axis.set_yscale("log")
        axis.grid(True, which="major", color="#dddddd", linewidth=0.7)
        axis.set_title("baseline " + name, fontsize=10, loc="left")
    axes[0][0].legend(fontsize=8, frameon=False)
    axes[0][0].annotate("%.2f bar" % allowed, (allowed, axes[0][0].get_ylim()[0]), xytext=(3, 4),
                        textcoords="offset points", fontsize=8, color="#a02020")
    for axis in axes[1]:
        axis.set_xlabel("largest error of a pressure extreme, bar")
    for row in axes:
        row[0].set_ylabel("ms CPU a simulated second")
    figure.savefig(path, dpi=110)
    plt.close(figure)
