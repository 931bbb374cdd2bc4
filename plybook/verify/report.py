"""What the verifier has to say: what is proved, with counts; what is wrong; what nobody checked."""

from __future__ import annotations

from dataclasses import dataclass, field


@dataclass
class Report:
    """Proofs are (what, how many); faults name the file or piece and the figures."""

    folder: str
    proofs: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    unproved: list[str] = field(default_factory=list)

    @property
    def sound(self) -> bool:
        return not self.faults

    def proved(self, what: str, count: int = 1) -> None:
        if count:
            self.proofs[what] = self.proofs.get(what, 0) + count

    def fault(self, where: str, what: str) -> None:
        self.faults.append(f"{where}: {what}")

    def expect(self, good: bool, what: str, where: str, wrong: str) -> bool:
        """Count a proof or note a fault."""
        if good:
            self.proved(what)
        else:
            self.fault(where, wrong)
        return good

    def as_text(self) -> str:
        lines = [f"{self.folder}: {'sound' if self.sound else 'NOT SOUND'}"]
        lines += [f"  proved  {count:6d}  {what}" for what, count in self.proofs.items()]
        lines += [f"  FAULT   {fault}" for fault in self.faults]
        lines += [f"  not checked: {what}" for what in self.unproved]
        return "\n".join(line.replace("\n", "<U+000A>") for line in lines)

    def as_dict(self) -> dict:
        """The report as plain data."""
        return {
            "folder": self.folder,
            "sound": self.sound,
            "proved": self.proofs,
            "faults": self.faults,
            "not_checked": self.unproved,
        }


@dataclass
class Reports:
    """The reports of several folders."""

    folders: list[Report]

    @property
    def sound(self) -> bool:
        return bool(self.folders) and all(r.sound for r in self.folders)

    def as_text(self) -> str:
        return "\n".join(report.as_text() for report in self.folders)

    def as_dict(self) -> dict:
        """The reports as plain data."""
        return {"sound": self.sound, "folders": [report.as_dict() for report in self.folders]}
