"""`microclimate new`: a first venue file, from answers to a few plain questions or blank with comments."""

from collections.abc import Callable
from pathlib import Path

from microclimate.errors import InputError, refuse
from microclimate.report import words_check
from microclimate.venue import starter
from microclimate.workflow import files


def new(
    path: Path, *, blank: bool, replace: bool, ask: Callable[[str], str], say: Callable[[str], None] = lambda text: None
) -> str:
    """Write a venue file that `microclimate check` accepts as it is.

    Parameters
    ----------
    path : Path
    blank : bool
        The commented file to fill in, without questions.
    replace : bool
        A file that stands there already may be replaced.
    ask : callable
        Puts one question and gives back the answer.
    say : callable
        Told of answers that cannot be used.

    Returns
    -------
    str
        What was done.

    Raises
    ------
    InputError
        The file is there already, or cannot be written.
    """
    if path.is_dir():
        raise refuse(str(path), "is a folder", "the name of a file, such as venue.toml")
    if path.exists() and not replace:
        raise refuse(str(path), "is there already", cure="choose another name, or add --replace")
    if not path.resolve().parent.is_dir():
        raise refuse(str(path), "its folder does not exist", "a folder that can be written")
    text = starter.blank() if blank else starter.from_answers(_asked(ask, say))
    try:
        files.write_text(text, path)
    except OSError as error:
        raise refuse(str(path), f"cannot be written ({error.strerror})", "a folder that can be written") from None
    return words_check.written(str(path), blank)


def _asked(ask: Callable[[str], str], say: Callable[[str], None]) -> dict[str, str]:
    """All answers; one that cannot be used is told and asked again, so that the rest is never lost."""
    answers: dict[str, str] = {}
    questions = starter.questions()
    say(words_check.before_questions(len(questions)))
    for number, question in enumerate(questions, 1):
        put = words_check.question(
            number, len(questions), question.text, question.example, question.default, question.wider, question.choices
        )
        while True:
            answer = {question.key: ask(put)}
            try:
                starter.from_answers({**answers, **answer})
            except InputError as error:
                say(str(error))
                continue
            answers |= answer
            break
    return answers
