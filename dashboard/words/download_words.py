"""What is said of the tables and charts that can be taken along."""

from __future__ import annotations

from dashboard.words.owner_words import LOST, RUN_OUTS_KEY
from dashboard.words.plan_words import BANDS
from dashboard.words.review_words import BAND_KEY, COST_KEY, WAITS_KEY

TITLE = "Downloads"
INTRO = (
    "Every table as CSV for a spreadsheet or as Parquet, every chart as SVG or PNG, as its page shows it now.",
    "Times are UTC, lengths hours, shares fractions, weights grams. Ranges: low, best, high.",
)
#: How all tables are had at once; in the middle the command.
ALL_AT_ONCE = ("All tables at once: ", "roundsheet tables FOLDER", " on the command line.")
MACHINES, ITEMS, FIGURES = "One machine's record", "One item's use", "One figure of the weekly review"
BACK = "All downloads"
WHICH = "Which machine? Put its code into the address, as in ?machine=P07."
NOTHING = "There is nothing to draw here yet: look again when more was noted."

#: The pages whose tables and charts there are, by the beginning of their names.
PAGES = {
    "owner": "The owner's page", "stores": "Stores", "plan": "Plan", "upkeep": "Upkeep and repairs",
    "review": "Weekly review",
}  # fmt: skip
#: What each table holds.
TABLES = {
    "owner-figures": "Single figures: trust, machines out, mending, spools",
    "owner-needs": "What needs a hand",
    "owner-machines": "Where every machine stands",
    "owner-racks": "Racks",
    "owner-periods": "Yesterday and the last seven days: figures",
    "owner-hours": "Yesterday and the last seven days: hours by state",
    "owner-losses": "Yesterday and the last seven days: hours lost by reason",
    "owner-scrap": "Yesterday and the last seven days: scrap by cause",
    "owner-days": "Figures day by day, with their usual spread",
    "owner-spools": "Spools that run out",
    "owner-staffed": "When people are in until the next working day's noon",
    "owner-order-now": "What must be ordered",
    "owner-questions": "Questions that are open",
    "owner-print-times": "How long prints really take",
    "owner-stops": "How often prints stop",
    "owner-unnoted": "Starts and removals nobody noted",
    "stores-figures": "Single figures: changing spools",
    "stores-items": "All items: on hand, levels, what to order",
    "stores-weeks": "Use week by week, and what is expected",
    "stores-orders": "Orders on the way",
    "stores-moves": "Counts, orders and deliveries",
    "plan-figures": "Single figures",
    "plan-orders": "Orders and when they leave",
    "plan-products": "Finished parts",
    "plan-loads": "What to load next",
    "plan-loads-figures": "What to load next: single figures",
    "plan-loads-out": "What to load next: machines left out",
    "plan-capacity": "What the room gives: single figures",
    "plan-lost-hours": "What becomes of the machine-hours of a week",
    "plan-weeks": "Weeks to come: what the room gives, what is wanted",
    "upkeep-figures": "Single figures",
    "upkeep-due": "Upkeep tasks and when they fall due",
    "upkeep-waits": "Machines that wait for a spare",
    "upkeep-models": "How often each model fails",
    "upkeep-failures": "Failures by hours printed",
    "upkeep-causes": "What the time to restore goes to",
    "upkeep-machines": "Machines that fail more often",
    "upkeep-intervals": "Whether intervals fit",
    "upkeep-hours": "Failures by hours since upkeep, and by age: bands",
    "upkeep-trends": "Failures by hours since upkeep, and by age: trends",
    "upkeep-spares": "Spares and the machines they serve",
    "review-weeks": "The weeks of the quarter",
    "review-changes": "Changes beyond chance",
    "review-meanwhile": "What else happened when a figure changed",
    "review-losses": "Hours lost by reason, and in the four weeks before",
    "review-days": "Every figure that is watched, day by day, with its limits",
    "review-waits": "When finished parts wait",
    "review-promises": "Promises kept, week by week",
    "review-late": "Orders that were late this week",
    "review-spares": "Days waited for spares",
    "review-record": "Forgotten taps by rack",
    "review-materials": "Material used against forecast",
    "review-models": "What the machines of each model gave",
    "review-compared": "Faster models against slower ones",
    "review-figures": "Single figures",
    "machine-figures": "Single figures",
    "machine-weeks": "Its weeks",
    "machine-faults": "Its faults",
    "machine-upkeep": "Upkeep done",
    "machine-spares": "Spares that went in",
    "machine-cards": "Cards that went in",
    "machine-recurs": "What keeps coming back",
}
#: What each chart shows.
CHARTS = {
    "owner-losses": LOST,
    "owner-spools": "Spools that run out by the next working day's noon",
    "owner-utilisation": "Printing, day by day",
    "owner-downtime": "Downtime, day by day",
    "owner-good": "Good parts, day by day",
    "owner-scrap-share": "Scrap, day by day",
    "stores-use": "Use a week",
    "plan-headroom": "Hours the room gives and orders want",
    "upkeep-failures": "Failures by hours printed",
    "upkeep-hours": "Failures by hours",
    "review-losses": "Hours lost in the week",
    "review-waits": "When finished parts wait",
    "review-printing": "Printing, week by week",
    "review-downtime": "Downtime, week by week",
    "review-figure": "A figure that is watched",
    "machine-time": "Its whole time",
}
#: What a chart needs to be said beside it.
KEYS = {
    "owner-losses": "Thin line: nine times in ten.",
    "owner-spools": RUN_OUTS_KEY,
    "plan-headroom": BANDS,
    "upkeep-failures": BANDS,
    "review-losses": COST_KEY,
    "review-waits": WAITS_KEY,
    "review-figure": BAND_KEY,
    **dict.fromkeys(
        ("owner-utilisation", "owner-downtime", "owner-good", "owner-scrap-share"),
        "Grey: the mean; dashed: how far days usually go from it; a dot: a change beyond that.",
    ),
}


#: Failures by hours since a machine was first watched.
AGE_NAME = "since they came"


def chart(title: str, which: str) -> str:
    """The line of a chart, and which one it is where there are several."""
    return f"Chart: {title}, {which}" if which else f"Chart: {title}"


def no_such(name: str) -> str:
    """There is no file of that name."""
    return f"There is nothing called '{name}' to download: pick one from the page {TITLE}."
