"""How pictures look: ink, colours that colour-blind eyes tell apart, line styles that survive a grey print."""
import matplotlib

INK = "#1d1d1b"
FAINT = "#6f6f6b"
GRID = "#e4e3df"
MARK = "#c4c2bb"

# Okabe and Ito's openly published set of colours safe for colour-blind eyes, less its yellow (too faint on paper);
# one colour a signal.
SIGNAL_COLOURS = ("#0072b2", "#d55e00", "#1d1d1b", "#009e73", "#cc79a7", "#56b4e9", "#e69f00")
# Wine, from Paul Tol's openly published `muted` set: what a case demands.
LIMIT_COLOUR = "#882255"

# With one run a style a signal, so that grey prints can be read; with more a style a run.
LINE_STYLES = ((0, ()), (0, (5.0, 1.4)), (0, (1.3, 1.2)), (0, (6.0, 1.4, 1.3, 1.4)), (0, (9.0, 2.0)),
               (0, (3.0, 1.2, 1.0, 1.2, 1.0, 1.2)))
LINE_WIDTHS = (1.3, 1.3, 1.5, 1.3, 1.3, 1.3)

TEXT = 7.5
SMALL = 7.0
HEADING = 8.0
TITLE = 11.0
LINE_HEIGHT = 0.150  # inches, of the tables


def settle():
    """No display, one font everywhere, text in pdf that can be searched."""
    matplotlib.use("Agg")
    matplotlib.rcParams.update({
        "font.family": "sans-serif",
        "font.sans-serif": ["DejaVu Sans"],
        "font.size": TEXT,
        "text.color": INK,
        "axes.edgecolor": MARK,
        "axes.linewidth": 0.6,
        "axes.labelcolor": INK,
        "xtick.color": INK,
        "ytick.color": INK,
        "lines.solid_capstyle": "round",
        "lines.dash_capstyle": "butt",
        "pdf.fonttype": 42,
        "svg.hashsalt": "swashloop",
        "path.simplify": False,
        "savefig.dpi": 170,
        "figure.dpi": 170,
    })


def colour_of(index):
    return SIGNAL_COLOURS[index % len(SIGNAL_COLOURS)]


def line_of(index):
    k = index % len(LINE_STYLES)
    return {"linestyle": LINE_STYLES[k], "linewidth": LINE_WIDTHS[k]}
