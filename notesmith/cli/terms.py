"""Commands for the controlled vocabulary and for spellings in documents."""

from __future__ import annotations

from collections import Counter
from pathlib import Path
from typing import Annotated, cast, get_args

import typer

from notesmith.cli.console import say
from notesmith.course import SETTINGS_NAME, Course, open_course
from notesmith.errors import InputError
from notesmith.files import write_atomic
from notesmith.vocabulary import Scheme, Vocabulary, load_vocabulary

terms = typer.Typer(help="Look up, check, export and extend the vocabulary.", no_args_is_help=True)
OptionalCourse = Annotated[
    Path | None,
    typer.Option("--course", "-c", help="The course whose vocabulary layer counts too.", show_default=False),
]


def add_to(app: typer.Typer) -> None:
    app.add_typer(terms, name="terms")


def _course(folder: Path | None) -> Course | None:
    if folder is not None:
        return open_course(folder)
    return open_course(Path()) if Path(SETTINGS_NAME).is_file() else None


def _vocabulary(course: Course | None) -> Vocabulary:
    return load_vocabulary() if course is None else course.load_vocabulary()


@terms.command("show")
def show(
    label: Annotated[list[str], typer.Argument(help="A name, an abbreviation or a symptom in lay words.")],
    course: OptionalCourse = None,
) -> None:
    """Show the concepts that carry a label.

    Example: notesmith terms show Kali-bi.
    """
    from notesmith.vocabulary.variants import resolve_remedy

    vocabulary = _vocabulary(_course(course))
    name = " ".join(label)
    found = vocabulary.find(name)
    if not found and (resolved := resolve_remedy(vocabulary, name)).concepts:
        found = resolved.concepts
        say(f"{name} is no label; by its {resolved.how} it {'may be' if resolved.ambiguous else 'is'}:")
    for concept in found:
        say(f"{concept.pref_label}  ({concept.id})")
        for name, values in (
            ("also", (*concept.alt_labels, *concept.ambiguous_labels)),
            *((fact, values) for fact, values in concept.facts.items()),
            ("broader", tuple(vocabulary.label(one) for one in concept.broader)),
            ("source", concept.source),
        ):
            if values:
                say(f"  {name}: {', '.join(values)}")
        for relation in vocabulary.relations_of.get(concept.id, ()):
            say(f"  {relation.relation}: {vocabulary.label(relation.other)}  [{relation.book}; {relation.source}]")
    if not found:
        say("No concept carries that label.")
        raise typer.Exit(1)


@terms.command("shorthand")
def shorthand(
    line: Annotated[list[str], typer.Argument(help="A line of a prescription as it is written.")],
    course: OptionalCourse = None,
) -> None:
    """Say what the shorthand of a prescription means, and where a sign may mean two things.

    Example: notesmith terms shorthand Thuja 200 1 dose HS, then SL BD
    """
    from notesmith.vocabulary.shorthand import read_shorthand

    found = read_shorthand(" ".join(line), _vocabulary(_course(course)))
    for one in found:
        said = one.senses[0].meaning if len(one.senses) == 1 else f"ambiguous: {one.doubt}"
        say(f"{one.written}: {said}")
    if not found:
        say("No shorthand in it.")
        raise typer.Exit(1)


@terms.command("count")
def count(course: OptionalCourse = None) -> None:
    """Count the concepts of each scheme.

    Example: notesmith terms count
    """
    vocabulary = _vocabulary(_course(course))
    counts = Counter(concept.scheme for concept in vocabulary.concepts.values())
    for scheme in get_args(Scheme):
        say(f"{scheme:13} {counts[scheme]:6}")
    say(f"{'relations':13} {len(vocabulary.relations):6}")


@terms.command("check")
def check(course: OptionalCourse = None) -> None:
    """Check the vocabulary files: file, line, problem and the mend. Fails where there is an error.

    Example: notesmith terms check
    """
    from notesmith.vocabulary.validate import validate

    opened = _course(course)
    layers = [] if opened is None or not opened.vocabulary_dir.is_dir() else [opened.vocabulary_dir]
    problems = validate(*layers)
    for problem in problems:
        say(str(problem))
    errors = sum(problem.severity == "error" for problem in problems)
    say(f"{errors} errors, {len(problems) - errors} warnings")
    if errors:
        raise typer.Exit(1)


@terms.command("export")
def export(
    target: Annotated[
        Path, typer.Argument(help="A .ttl file for SKOS Turtle, or a .md file for a printable glossary.")
    ],
    course: OptionalCourse = None,
) -> None:
    """Export the vocabulary as SKOS Turtle or as a printable glossary.

    Example: notesmith terms export vocabulary.ttl
    """
    from notesmith.vocabulary.skos import to_glossary, to_turtle

    writers = {".ttl": to_turtle, ".md": to_glossary}
    if target.suffix not in writers:
        raise InputError(f"{target}: end the name in .ttl (SKOS Turtle) or .md (glossary)")
    write_atomic(target, writers[target.suffix](_vocabulary(_course(course))))
    say(str(target))


@terms.command("import")
def import_terms(
    file: Annotated[Path, typer.Argument(help="One term a line, or CSV with a prefLabel column.")],
    scheme: Annotated[str, typer.Option(help="remedy, rubric, canon, idea, medical, potency or prescription.")],
    course: OptionalCourse = None,
    write: Annotated[
        bool, typer.Option("--write", help="Write the new terms; without it they are only shown.")
    ] = False,
) -> None:
    """Take a plain list of terms into the course's vocabulary, after showing what clashes.

    Example: notesmith terms import my-terms.txt --scheme remedy -c monday-course
    """
    from notesmith.vocabulary.importing import plan_import, write_concepts

    if scheme not in get_args(Scheme) or scheme == "chapter":
        raise InputError(f"{scheme!r} is no scheme; use {', '.join(s for s in get_args(Scheme) if s != 'chapter')}")
    opened = _course(course)
    planned = plan_import(file, _vocabulary(opened), cast(Scheme, scheme))
    for one in planned:
        say(f"{file}:{one.line}: {one.action}: {one.label}: {one.why}")
    new = [one.concept for one in planned if one.action == "new" and one.concept is not None]
    clashes = sum(one.action == "clash" for one in planned)
    say(f"{len(new)} new, {sum(one.action == 'known' for one in planned)} known, {clashes} clashes")
    if not write:
        say("Nothing was written; add --write to take the new terms in.")
        return
    if opened is None:
        raise InputError("name the course that takes the terms: -c COURSE")
    for path in write_concepts(opened.vocabulary_dir, new):
        say(f"written: {path}")


@terms.command("spelling")
def spelling(
    files: Annotated[list[Path], typer.Argument(help="Documents: md, txt, vtt, srt, html, docx.")],
    course: OptionalCourse = None,
    fix: Annotated[bool, typer.Option("--fix", help="Mend in place; the original is kept as .bak.")] = False,
) -> None:
    """Check how the trade's terms are spelt in documents. Fails where something is left to mend.

    Example: notesmith terms spelling handout.docx --fix
    """
    from notesmith.spelling import SpellingChecker

    opened = _course(course)
    allowed = () if opened is None else opened.settings.allowed_spellings
    checker = SpellingChecker(_vocabulary(opened), allowed)
    left = 0
    for path in files:
        found = checker.check(path)
        for one in found:
            say(str(one))
        if found and fix:
            backup = checker.mend(path, found)
            say(f"{path}: {len(found)} mended; the original is {backup}")
        else:
            left += len(found)
    if left:
        raise typer.Exit(1)
