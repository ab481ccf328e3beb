"""What a message to people outside holds: its head, its text, and the same for a machine. Facts, no verdict."""

from typing import Any

from microclimate.report import message, words_head, words_plan, words_whom
from microclimate.report.answer import Answer
from microclimate.report.planned import Deed, Planned

HEADS = {
    "first": "plan for the night",
    "changed": "the plan has changed",
    "daily": "unchanged, daily message",
    "failed": "no answer",
}


def head(answer: Answer, why: str) -> str:
    """Subject of an e-mail."""
    return f"{answer.venue}: {HEADS[why]}"


def body(answer: Answer, short: str) -> str:
    """Text of an e-mail: the message, then each action, who is told what, and the source."""
    parts = [short, "\n".join(f"- {line}" for line in words_head.advice_words(answer))]
    if answer.plan is not None:
        parts.append("\n".join(words_whom.told_whom(answer, answer.plan)))
    parts += [f"{words_head.forecast_words(answer)}\n{words_head.made(answer)}", words_head.DISCLAIMER]
    return "\n\n".join(part for part in parts if part) + "\n"


def failed(venue: str, error: str) -> str:
    """Text where a run came to no answer."""
    return f"{venue}: this run came to no answer; what was told before is not renewed.\n\n{error}\n"


def document(answer: Answer, short: str, why: str) -> dict[str, Any]:
    """The same as a JSON object; times are UTC."""
    return {
        "venue": answer.venue,
        "made": f"{answer.now.isoformat()}Z",
        "forecast_issued": None if answer.issued is None else f"{answer.issued.isoformat()}Z",
        "why": why,
        "message": short,
        "actions": [] if answer.plan is None else actions(answer.plan),
    }


def actions(planned: Planned) -> list[dict[str, Any]]:
    """The actions of the plan, each with its hours."""
    return [_action(deed) for deed in planned.best.deeds]


def _action(deed: Deed) -> dict[str, Any]:
    by = words_plan.sure(deed)
    return {
        "action": deed.action,
        "what": deed.what,
        "zones": list(deed.zones),
        "start": f"{deed.start.isoformat()}Z",
        "end": f"{deed.end.isoformat()}Z",
        "start_by_90_percent": None if by is None else f"{by.isoformat()}Z",
        "running": deed.running,
        "people": deed.people,
    }


def short(answer: Answer) -> str:
    """The answer in at most 300 characters, with or without a plan."""
    return message.message(answer, answer.plan)
