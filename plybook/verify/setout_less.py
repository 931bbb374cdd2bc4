"""What the set-out of the mould leaves out: told by a finding, and shown nowhere."""

from __future__ import annotations

from plybook.verify.report import Report

NAME, THE_FACE = "plan.json, setout", "opening of the face"
_KEYS = ("rows", "lines", "outlines", "marks", "diagonals", "bows")


def left_out(plan: dict) -> list[str]:
    """The layers that a set-out does not show, `THE_FACE` for openings of the face, "" for all."""
    return [one["of"] for one in plan["setout"]["left_out"]]


def check_left_out(plan: dict, report: Report) -> bool:
    """That findings tell of all that is left out, and that openings of the face are all there or
    left out.

    Returns:
        Whether there is more of the set-out to check.
    """
    held, less = plan["setout"], left_out(plan)
    layers = {layer["id"] for layer in plan["layers"]}
    told = [f["message"] for f in plan["findings"] if f["code"] == "set-out-less"]
    report.expect(bool(told) == bool(less), "findings of what a set-out leaves out", NAME,
                  "leaves something out that no finding tells of, or the reverse")  # fmt: skip
    for one in held["left_out"]:
        of, said = one["of"], one["of"] or "is left out"
        good = of in (*layers, THE_FACE, "")
        good = good and any(said in words and one["why"] in words for words in told)
        report.expect(good, "findings of what a set-out leaves out", NAME,
                      f"leaves out {of or 'everything'}, which no finding tells of")  # fmt: skip
        report.unproved.append(f"the set-out of {of or 'the mould'}, which is left out")
    if "" in less:
        good = less == [""] and not any(held[key] for key in _KEYS)
        report.expect(good, "set-outs that are left out whole", NAME,
                      "is left out, and yet shows something")  # fmt: skip
        return False
    drawn = [outline["role"] for outline in held["outlines"]].count("net line")
    flat, holes = held["flat"], 0 if THE_FACE in less else len(plan["surface"]["holes_mm"])
    report.expect(drawn == holes + flat, "set-outs with all openings of the face", NAME,
                  f"draws {drawn - flat} of {holes} openings of the face")  # fmt: skip
    named = {outline["of"].rpartition(" in ")[2] for outline in held["outlines"]} & set(less)
    report.expect(not named, "set-outs without what they leave out", NAME,
                  f"draws {sorted(named)[:3]}, which it leaves out")  # fmt: skip
    return True
