"""Check-in at one machine: its state in one line, and only what is possible now."""

import time
from collections import Counter
from collections.abc import Callable, Sequence
from datetime import datetime
from functools import partial

import streamlit as st

from core.answers import entries_for
from core.entries import AnyEntry, PrintStarted, entry_adapter
from core.epoch import utc_now
from core.floor.types import Choice, FileChoice, MachinePage
from core.reading.types import Question
from dashboard.kit import data, earlier, parts
from dashboard.kit.blocks import put
from dashboard.kit.links import Links
from dashboard.kit.parts import AskedAct
from dashboard.kit.shop import current_log
from dashboard.views import upkeep_html
from dashboard.words import acts, receipt_words
from dashboard.words import floor_words as words
from dashboard.words.acts import Fields
from dashboard.words.owner_words import STATE_WORDS
from dashboard.words.question_words import choice_words, question_sentence

#: So many part-spools, and other files, are offered where a spool is too short.
PART_SPOOLS_SHOWN, INSTEAD_SHOWN = 2, 2


def page() -> None:
    """The machine named in the address, or the racks to pick one from."""
    parts.about("machine", pick_machine, check_in)


def pick_machine() -> None:
    """Every machine in its place on its rack."""
    parts.text("ask", words.WHICH_MACHINE, tag="h2")
    for rack in parts.racks():
        parts.text("ask", rack.name, tag="h3")
        with st.container(key=f"rack-{rack.across}-{rack.rack}"):
            for machine in rack.machines:
                word = STATE_WORDS[machine.state].short
                if parts.button(f"tile-machine-{machine.machine}", machine.machine, word):
                    st.query_params["machine"] = machine.machine
                    st.rerun()


def check_in(machine: str, by: str) -> None:
    """The page of one machine; the receipt of a tap is drawn before the rest is reckoned."""
    head, slot = st.container(key="head-machine"), st.container(key="slot")
    answer_now = partial(parts.shown, machine, partial(data.machine_page, machine))
    with slot:
        parts.receipt(machine, by, lambda: last_tap(answer_now()))
    answer = answer_now()
    with head:
        parts.text("code", machine, tag="h1")
        parts.text("state", words.state_line(answer.now, data.clock(), data.names()))
        if answer.spool:
            parts.text("spool", words.spool_line(answer.spool, data.names()))
    with st.container(key=f"acts-{parts.turn()}"):
        if step := parts.session().step:
            ask(step, answer, by)
        else:
            offer(answer, by)
    parts.heal()


def last_tap(answer: MachinePage) -> parts.Said:
    """The newest tap at this machine, whoever made it, as its receipt."""
    newest = [fields for fields in answer.recent if fields["noted_at"] == answer.recent[0]["noted_at"]]
    entries = tuple(entry_adapter.validate_python(fields) for fields in reversed(newest))
    sentence = receipt_words.last_told(entries, data.clock(), data.names()) if entries else words.NOTHING_YET
    return parts.Said(answer.now.machine, sentence, (), entries)


def record(name: str, answer: MachinePage, by: str, fields: Sequence[Fields], held: int | None = None) -> None:
    """One tap at this machine."""
    send(name, answer, parts.entries(fields, by), held or answer.now.parts)


def send(name: str, answer: MachinePage, made: Sequence[AnyEntry], held: int | None) -> None:
    """One tap's entries, to the log; `held` is what was on the platform, for the receipt.

    None where somebody noted this machine since the page was drawn: it may tell of the same thing.
    """

    def say(kept: Sequence[AnyEntry]) -> str:
        return receipt_words.receipt(kept, held, data.clock(), data.names())

    parts.tap(name, answer.now.machine, made, say, partial(outdated, answer))


def outdated(answer: MachinePage) -> bool:
    """Whether somebody noted this machine since the page was drawn."""
    shown = answer.recent[0]["noted_at"] if answer.recent else None
    return current_log().last_word(answer.now.machine) != (datetime.fromisoformat(shown) if shown else None)


# What is possible now


def offer(answer: MachinePage, by: str) -> None:
    """The acts, most likely first, then what is asked and what was noted."""
    for place, act in enumerate(acts.offered(answer)):
        file = acts.file_of(act, answer)
        label, more = words.act_label(act, answer.now.parts, file, acts.as_listed(answer))
        if act in (*acts.STARTS, *acts.CLEARS_AND_STARTS) and file and acts.too_short(file):
            more = words.spool_short(act, file, answer.spool)
        name = f"{'apart' if act == 'down' else 'main'}-{act}"
        if parts.button(name, label, more, primary=place == 0):
            at_once = acts.at_once(act, answer)
            if at_once is None:
                parts.go(act)
            else:
                record(name, answer, by, at_once)
    earlier.when(answer.shift_began)
    for question in answer.questions:
        ask_open(question, answer, by)
    history(answer)
    put(upkeep_html.to_record(answer.now.machine, Links(by)))
    parts.change_who(by)


def ask_open(question: Question, answer: MachinePage, by: str) -> None:
    """An open question, answered by one tap."""
    parts.text("question", question_sentence(question, data.clock()))
    with st.container(key=f"tiles-{question.id}"):
        for choice in question.choices:
            name = f"tile-{question.id}-{choice.name}"
            if parts.button(name, choice_words(question, choice, data.names().down)):
                send(name, answer, entries_for(question, choice, by, utc_now()), question.parts)


def history(answer: MachinePage) -> None:
    """The newest entries of the machine, in words, and the way to take one back."""
    if told := lately(answer):
        parts.text("ask", words.LATELY, tag="h3")
        parts.text("entry", *(line for _, line in told))
        if parts.button("quiet-wrong", words.ONE_IS_WRONG):
            parts.go("wrong")


def lately(answer: MachinePage) -> list[tuple[AnyEntry, str]]:
    """The newest entries of the machine, each with its line, as they happened."""
    clock, names = data.clock(), data.names()
    entries = [entry_adapter.validate_python(fields) for fields in answer.recent]
    # A start follows the removal that was told with it.
    entries.sort(key=lambda entry: (entry.at, isinstance(entry, PrintStarted)), reverse=True)
    return [(entry, receipt_words.entry_line(entry, clock, names)) for entry in entries]


# What an act asks before it records


def ask(step: AskedAct, answer: MachinePage, by: str) -> None:
    """What the act tapped still needs to know."""
    parts.text("ask", words.ASKS[asked(step, answer)], tag="h2")
    if step.act in ("down", "cause_known", "upkeep", "waits_for_spare"):
        parts.text("hands", words.HANDS_IN)
    ASKING[step.act](step, answer, by)
    if parts.button("quiet-back", words.BACK):
        parts.go(None)


def asked(step: AskedAct, answer: MachinePage) -> str:
    """Which of the questions is put: an act may have two."""
    if "task" in step.told:
        return "upkeep_took"
    short = step.act in acts.CLEARS_AND_STARTS and answer.now.parts is not None
    return "started_same" if short or "file" in step.told else step.act


def ask_next(step: AskedAct, answer: MachinePage, by: str) -> None:
    """How many came off where that is not known, else whether the spool will do for the next print."""
    if answer.now.parts:
        ask_short(step, answer, by)
    else:
        ask_count(step, answer, by)


def ask_short(step: AskedAct, answer: MachinePage, by: str) -> None:
    """What feeds the print: a new spool, a part-spool, more than is thought; or a file for which it lasts."""
    file = next((f for f in answer.files if f.file == step.told.get("file")), None) or acts.file_of(step.act, answer)
    if file is None:
        return
    names, full = data.names(), data.spool_weight(file.material)

    def offer_start(name: str, label: tuple[str, str], which: FileChoice, grams: float | None) -> None:
        if parts.button(name, *label, primary=name == "main-new"):
            record(name, answer, by, acts.begun(step.act, answer, which, grams))

    parts.text("question", words.too_short(file, answer.spool, names))
    offer_start("main-new", words.new_spool(file, full, names), file, full)
    for place, part in enumerate(data.part_spools_for(file.material, file.grams)[:PART_SPOOLS_SHOWN]):
        offer_start(f"main-part-{place}", words.part_spool(part), file, part.left.best)
    for other in acts.instead(answer, file)[:INSTEAD_SHOWN]:
        offer_start(f"main-{other.file}", words.instead(other), other, None)
    if answer.spool and answer.spool.material == file.material:
        parts.text("ask", words.FULLER, tag="h3")
        with st.container(key="tiles-fuller"):
            for name, share in acts.fuller(file, full).items():
                offer_start(f"tile-{name}", (words.QUARTERS[name], ""), file, share * full)
    offer_start("quiet-anyway", (words.START_ANYWAY, ""), file, None)


def on_platform(step: AskedAct, answer: MachinePage) -> int | None:
    """How many parts were on the platform, told by a stepper where no start says so."""
    if answer.now.parts:
        return None
    held = step.told.setdefault("held", acts.likely_parts(answer))
    parts.stepper(step, "held", 1, max(answer.most_parts, 1), words.held(held))
    return held


def ask_count(step: AskedAct, answer: MachinePage, by: str) -> None:
    """How many came off."""
    held = on_platform(step, answer)
    if parts.button("main-count", *words.act_label(step.act, held, acts.file_of(step.act, answer)), primary=True):
        record("main-count", answer, by, acts.off(step.act, answer, held), held)
    if parts.button("main-uncounted", words.NOBODY_COUNTED):
        record("main-uncounted", answer, by, acts.off(step.act, answer, None))


def ask_scrap(step: AskedAct, answer: MachinePage, by: str) -> None:
    """How many were scrap, and the cause: one tap on the cause records."""
    told = on_platform(step, answer)
    held = told or answer.now.parts or 1
    most = told or max(answer.most_parts, held)
    scrap = step.told["scrap"] = held if step.act == "failed" else min(step.told.get("scrap", 1), most)
    if step.act != "failed":
        parts.stepper(step, "scrap", 1, most, words.scrap_of(scrap, held))

    def tapped(name: str, cause: str) -> None:
        record(name, answer, by, acts.scrapped(step.act, answer, scrap, told, cause), held)

    tiles("scrap", answer.scrap_causes, tapped)


def ask_spool(step: AskedAct, answer: MachinePage, by: str) -> None:
    """The material, the same again first; another weight where it is another spool."""
    grams = step.told.setdefault("grams", acts.usual_spool(answer))
    with st.container(key="tiles-grams"):
        for weight in acts.SPOOLS:
            if weight != grams:
                fitted = partial(step.told.update, grams=weight)
                parts.button(f"quiet-grams-{weight}", words.spool_of(weight), before=fitted)
    left = weighed(step)
    for place, choice in enumerate(answer.materials):
        name = f"main-{choice.code}"
        if parts.button(name, *words.spool_label(choice.name, grams, place == 0), primary=place == 0):
            record(name, answer, by, acts.spool(step.act, answer.now.machine, choice.code, grams, left))


def weighed(step: AskedAct) -> float | None:
    """What was left on the old spool, if somebody weighed it: it teaches what prints truly use."""
    if step.told.get("weighs"):
        return st.number_input(words.LEFT_GRAMS, value=None, min_value=0.0, step=10.0, format="%g")
    parts.button("quiet-weighed", words.WEIGHED, before=partial(step.told.update, weighs=True))
    return None


def ask_cause(_: AskedAct, answer: MachinePage, by: str) -> None:
    """The cause, in the crew's fixed order; a machine whose spare is not on the shelf waits for it."""

    def tapped(name: str, cause: str) -> None:
        missing = data.missing_for(cause, answer.now.model)
        record(name, answer, by, acts.down(answer, cause=cause, spare=missing))

    tiles("down", answer.down_causes, tapped)


def ask_spare(_: AskedAct, answer: MachinePage, by: str) -> None:
    """The spares that fit."""
    tiles("spare", answer.spares, lambda name, spare: record(name, answer, by, acts.down(answer, spare=spare)))


def ask_task(step: AskedAct, answer: MachinePage, by: str) -> None:
    """The task; then its minutes, the usual ones unless told, and the spares that went in, none unless tapped."""
    task = next((task for task in answer.tasks if task.code == step.told.get("task")), None)
    if task is None:
        tiles("task", answer.tasks, lambda _, code: parts.go("upkeep", task=code))
        return
    used: Counter[str] = step.told.setdefault("spares", Counter())
    minutes = step.told.setdefault("minutes", round(task.minutes))
    name = "main-task"
    if parts.button(name, *words.upkeep_label(task.name, minutes, used, data.names().spares), primary=True):
        record(name, answer, by, acts.upkeep(answer, task.code, minutes, sorted(used.elements())))
    parts.stepper(step, "minutes", 1, acts.MOST_MINUTES, words.minutes(minutes), acts.minutes_more(task))
    if answer.spares:
        ask_spares_used(used, acts.spares_for(answer, task.spare))


def ask_back(step: AskedAct, answer: MachinePage, by: str) -> None:
    """The spares that went in, the usual one of the cause first."""
    used: Counter[str] = step.told.setdefault("spares", Counter())
    if parts.button("main-back", *words.back_label(used, data.names().spares), primary=True):
        record("main-back", answer, by, acts.back(answer, sorted(used.elements())))
    ask_spares_used(used, acts.spares_for(answer, data.usual_spare(answer.now.cause)))


def ask_spares_used(used: Counter[str], spares: Sequence[Choice]) -> None:
    """Every tap on a spare is one more that went in."""
    parts.text("ask", words.SPARES_USED, tag="h3")
    with st.container(key="tiles-spares"):
        for spare in spares:
            one_more = partial(used.update, [spare.code])
            parts.button(f"tile-used-{spare.code}", *words.spare_used(spare.name, used[spare.code]), before=one_more)
    if used:
        parts.button("quiet-none", words.NONE_USED, before=used.clear)


def ask_file(step: AskedAct, answer: MachinePage, by: str) -> None:
    """The files that fit, likeliest first; then the spool, where it will hardly do."""
    if "file" in step.told:
        ask_short(step, answer, by)
        return
    for file in answer.files:
        name = f"main-{file.file}"
        if parts.button(name, *words.file_label(file)):
            if acts.too_short(file):
                parts.go("started_other", file=file.file)
            record(name, answer, by, [acts.started(answer.now.machine, file)])


def ask_wrong(step: AskedAct, answer: MachinePage, by: str) -> None:
    """Which entry is taken back, and whether it truly is: what is taken back stays so, so a nervous finger does not."""
    told = {str(entry.id): (entry, line) for entry, line in lately(answer)}
    if step.told.get("which") in told:
        entry, line = told[step.told["which"]]
        parts.text("question", line)
        parts.text("entry", words.NOTE_ANEW)
        if parts.button("main-wrong", words.TAKE_BACK, primary=True) and parts.calm(step.told["asked"]):
            if outdated(answer):
                parts.refuse(answer.now.machine, words.MEANWHILE)
            parts.undo(parts.Said(answer.now.machine, line, (), (entry,)), by)
        return
    for which, (_, line) in told.items():
        if parts.button(f"quiet-wrong-{which}", line):
            parts.go("wrong", which=which, asked=time.monotonic())


def tiles(about: str, choices: Sequence[Choice], tapped: Callable[[str, str], None]) -> None:
    """Choices side by side, in their fixed order; one tap records."""
    with st.container(key=f"tiles-{about}"):
        for choice in choices:
            name = f"tile-{about}-{choice.code}"
            if parts.button(name, choice.name):
                tapped(name, choice.code)


ASKING = {
    "off": ask_count,
    "off_next": ask_next,
    "off_planned": ask_next,
    "started_same": ask_short,
    "started_planned": ask_short,
    "off_scrap": ask_scrap,
    "failed": ask_scrap,
    "spool": ask_spool,
    "goes_on": ask_spool,
    "down": ask_cause,
    "cause_known": ask_cause,
    "waits_for_spare": ask_spare,
    "back_fitted": ask_back,
    "upkeep": ask_task,
    "started_other": ask_file,
    "wrong": ask_wrong,
}

if __name__ == "__main__":
    page()
