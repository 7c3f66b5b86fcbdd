"""The plan as a form: what stands in its entries, and how they are read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from ..errors import PlanError
from ..planning.cutting.cloth import read_allowance
from ..planning.cutting.cut_list import PARTS
from ..planning.layouts.planned import parts_of
from ..planning.plan import Kind, Plan, usual_in
from ..project.places import SIDES
from ..units import format_exact, format_length, parse_length, parse_size
from .entries import GROUPS, KIND, KINDS, ORDER, Entry

_DEFAULTS = {f.name: f.default for f in (*fields(Kind), *fields(Plan))}
Filled = list[tuple[Entry, str]]


@dataclass(frozen=True)
class Part:
    """A part of the quilt that is cut from cloth: its fabric if not the usual one."""

    name: str
    usual: str
    fabric: str
    lengthwise: bool


@dataclass(frozen=True)
class FabricEntry:
    """A fabric of the quilt: its width if not the plan's, the cloth in hand, its print."""

    name: str
    width: str
    in_hand: str
    one_way: bool


def entries(plan: Plan) -> list[tuple[str, Filled]]:
    """Every group with its entries and what the plan says."""
    return [(title, _filled(plan, group, plan.unit)) for title, group in GROUPS]


def kinds(plan: Plan) -> tuple[Filled, list[tuple[str, Filled]], Filled]:
    """What is said of all kinds of blocks, the further kinds by name, and a new one."""
    return (
        _filled(plan, (KINDS, ORDER), plan.unit),
        [(k.name, _filled(k, KIND[1:], plan.unit)) for k in plan.kinds],
        _filled(Kind(""), KIND, plan.unit),
    )


def parts(plan: Plan) -> list[Part]:
    """The parts of the quilt that are cut from cloth, as far as the plan has them."""
    there, several = parts_of(plan), len(plan.borders_mm) > 1
    told, along = dict(plan.fabrics), plan.lengthwise
    names = [part for part in PARTS if part in (*there, *told, *along)]
    if several:
        names += [f"border {n + 1}" for n in range(len(plan.borders_mm))]
    names += [part for part in (*told, *along) if part not in names]
    usual = {part: PARTS.get(part, told.get("border", part)) for part in names}
    return [Part(n, usual[n], told.get(n, ""), n in along) for n in dict.fromkeys(names)]


def fabrics(plan: Plan) -> list[FabricEntry]:
    """The fabrics that the quilt is cut from, as far as the plan has them."""
    widths = dict(plan.fabric_widths_mm)
    hand = [fabric for fabric, _ in plan.in_hand]
    used = [part.fabric or part.usual for part in parts(plan)]
    names = dict.fromkeys((*used, *hand, *widths, *plan.one_way))
    return [
        FabricEntry(
            name,
            _length(widths[name], plan.unit) if name in widths else "",
            "; ".join(text for fabric, text in plan.in_hand if fabric == name),
            name in plan.one_way,
        )
        for name in names
    ]


def _filled(of: Any, group: Iterable[Entry], unit: str) -> Filled:
    return [(e, _text(of, e, unit)) for e in group]


def _length(mm: float, unit: str) -> str:
    return format_length(mm, unit=unit, fraction=32)


def _text(of: Any, entry: Entry, unit: str) -> str:
    """What a plan, or a kind of block, says at an entry."""
    value = getattr(of, entry.name)
    if value is None:
        return ""
    if entry.kind == "exact":
        return format_exact(value, unit=unit).rstrip()
    if entry.kind == "length":
        return _length(value, unit)
    if entry.kind == "size":
        return " × ".join(_length(v, unit) for v in value)
    if entry.kind == "sides":
        return _sides_text(value, unit)
    if entry.kind == "lengths":
        return "; ".join(_sides_text(v, unit) for v in value)
    if entry.kind == "order":
        return " / ".join(", ".join(line) for line in value)
    if entry.kind == "part":
        return f"{100 * value:g} %"
    return str(value)


def _sides_text(width: Any, unit: str) -> str:
    """A width on all sides, or its width on each side that has it."""
    if isinstance(width, int | float):
        return _length(width, unit)
    if [side for side, _ in width] == [*SIDES] and len({mm for _, mm in width}) == 1:
        return _length(width[0][1], unit)
    return ", ".join(f"{side} {_length(mm, unit)}" for side, mm in width)


def _sides(text: str, unit: str) -> float | tuple[tuple[str, float], ...]:
    """Read a width on all sides, or one for each side that is named."""
    each = [part.split(maxsplit=1) for part in text.split(",")]
    if all(len(part) == 2 and part[0].lower() in SIDES for part in each):
        return tuple((side.lower(), parse_length(width, unit)) for side, width in each)
    return parse_length(text, unit)


def read(plan: Plan, given: Mapping[str, Any]) -> Plan:
    """The plan with what the form says; an entry that reads as before stays as exact as it was.

    Parameters
    ----------
    plan : Plan
    given : mapping of str to text or bool
        By the plan's field; what is said of one kind of block, part of the quilt or fabric by
        "kind/FIELD/NAME", "part/FIELD/NAME", "fabric/FIELD/NAME"; of a new kind by "new/FIELD".

    Raises
    ------
    LengthError, PlanError
        For an entry that cannot be read.
    """
    unit = str(given.get("unit", plan.unit))
    simple = (*(e for _, group in GROUPS for e in group), KINDS, ORDER)
    new = _changes(plan, simple, given, plan.unit, unit)
    new = {**usual_in(plan, new.get("unit", plan.unit)), **new}
    if new.get("planned_mm", plan.planned_mm) != plan.planned_mm:
        new.setdefault("chosen_mm", None)  # it was chosen for another plan
    if "kind" in new and "repeat" not in new:
        called = {plan.kind: new["kind"]}
        new["repeat"] = tuple(tuple(called.get(k, k) for k in line) for line in plan.repeat)
    new["kinds"] = _kinds(plan, given, unit)
    return replace(plan, **new, **_cloth(plan, given, unit))


def _changes(
    of: Any, group: Iterable[Entry], given: Mapping[str, Any], shown: str, unit: str
) -> dict[str, Any]:
    """What is not as it was shown (in the unit `shown`)."""
    return {
        e.name: _value(e, given[e.name], unit)
        for e in group
        if e.name in given and str(given[e.name]).strip() != _text(of, e, shown)
    }


def _of(given: Mapping[str, Any], what: str) -> dict[str, dict[str, Any]]:
    """What is said of each kind, part or fabric: name -> field -> text."""
    found: dict[str, dict[str, Any]] = {}
    for key, value in given.items():
        begin, _, rest = key.partition("/")
        field, slash, name = rest.partition("/")
        if begin == what and slash:
            found.setdefault(name, {})[field] = value
    return found


def _kinds(plan: Plan, given: Mapping[str, Any], unit: str) -> tuple[Kind, ...]:
    said = _of(given, "kind")
    kept = []
    for kind in plan.kinds:
        told = said.get(kind.name, {})
        if told.get("gone") is True:
            continue
        new = _changes(kind, KIND, told, plan.unit, unit)
        if new.get("planned_mm", kind.planned_mm) != kind.planned_mm:
            new.setdefault("chosen_mm", None)
        kept.append(replace(kind, **new))
    new = {e.name: given[f"new/{e.name}"] for e in KIND if f"new/{e.name}" in given}
    if str(new.get("name", "")).strip():
        kept.append(replace(Kind(""), **_changes(Kind(""), KIND, new, plan.unit, unit)))
    elif any(value is True or str(value).strip() not in ("", "False") for value in new.values()):
        raise PlanError("The new kind of block has no name.", "Give it one, like lighthouse.")
    return tuple(kept)


def _cloth(plan: Plan, given: Mapping[str, Any], unit: str) -> dict[str, Any]:
    """What is said of parts of the quilt and of fabrics, as fields of the plan."""
    cut, cloth = _of(given, "part"), _of(given, "fabric")
    told = dict(plan.fabrics)
    told |= {part: str(said["cloth"]).strip() for part, said in cut.items() if "cloth" in said}
    widths = dict(plan.fabric_widths_mm)
    hand = list(plan.in_hand)
    for entry in fabrics(plan):
        said, name = cloth.get(entry.name, {}), entry.name
        width = str(said.get("width", entry.width)).strip()
        if width != entry.width:
            widths[name] = parse_length(width, unit) if width else 0.0
        texts = str(said.get("in_hand", entry.in_hand)).strip()
        if texts != entry.in_hand:
            hand = [pair for pair in hand if pair[0] != name]
            hand += [(name, text.strip()) for text in texts.split(";") if text.strip()]
    return {
        "fabrics": tuple((part, fabric) for part, fabric in told.items() if fabric),
        "lengthwise": _ticked(plan.lengthwise, cut, "lengthwise"),
        "one_way": _ticked(plan.one_way, cloth, "one_way"),
        "fabric_widths_mm": tuple((name, mm) for name, mm in widths.items() if mm),
        "in_hand": tuple(hand),
    }


def _ticked(
    before: tuple[str, ...], said: Mapping[str, Mapping[str, Any]], field: str
) -> tuple[str, ...]:
    answer = {name: told[field] is True for name, told in said.items() if field in told}
    kept = [name for name in before if answer.get(name, True)]
    return (*kept, *(name for name, yes in answer.items() if yes and name not in kept))


def _value(entry: Entry, given: Any, unit: str) -> Any:
    if entry.kind == "yes":
        return given is True
    text = str(given).strip()
    if not text:
        if entry.kind in ("lengths", "sides", "order"):
            return ()
        if entry.kind == "text" or _DEFAULTS[entry.name] is None:
            return _DEFAULTS[entry.name] if isinstance(_DEFAULTS[entry.name], str) else None
        raise PlanError(f"“{entry.label}” cannot be empty.", "Write a length.")
    if entry.kind == "text":
        return text
    if entry.kind == "size":
        return parse_size(text, unit)
    if entry.kind == "sides":
        width = _sides(text, unit)
        return tuple((s, width) for s in SIDES) if isinstance(width, float) else width
    if entry.kind == "lengths":
        return tuple(_sides(part.strip(), unit) for part in text.split(";") if part.strip())
    if entry.kind == "order":
        return tuple(tuple(k.strip() for k in line.split(",")) for line in text.split("/"))
    if entry.kind == "part":
        return read_allowance(text)
    if entry.kind == "count" or entry.name == "fraction":
        if not (text.isascii() and text.isdigit() and len(text) < 6):
            raise PlanError(f"“{text}” is not a whole number.", "Write it like 5.")
        return int(text)
    if entry.kind == "choice":
        if text not in [value for value, _ in entry.choices]:
            raise PlanError(f"“{text}” is not one of the choices of “{entry.label}”.")
        return text == "True" if entry.name == "keep_square" else text
    return parse_length(text, unit)
