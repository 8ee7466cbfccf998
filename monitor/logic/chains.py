"""The way of the water to one larval tank, with the tags that see it."""

from dataclasses import dataclass

from monitor.rig import Line, Rig, Tag, Vessel


@dataclass(frozen=True, slots=True)
class Chain:
    """The way of the water to one larval tank, with the tags that see it. Each may be missing."""

    line: Line
    header: Vessel | None
    tank: Vessel | None
    pump: Line | None
    flow: Tag | None
    witness: Tag | None
    supply: Tag | None
    mains: Tag | None
    level: Tag | None
    float: Tag | None
    tank_level: Tag | None
    temperature: Tag | None

    @property
    def drawn_by_siphon(self) -> bool:
        return self.line.kind == "siphon"

    @property
    def parts(self) -> tuple[str, ...]:
        """Ids of the vessels, lines and the circuit of this way."""
        pump = self.pump
        circuit = self.line.circuit if pump is None else pump.circuit
        parts = (self.line, self.header, self.tank, pump)
        return (*(part.id for part in parts if part is not None), circuit or self.line.id)

    @property
    def flow_is_seen(self) -> bool:
        """Whether any sensor shows that water reaches the larvae."""
        return self.flow is not None or self.witness is not None

    @property
    def sighted(self) -> tuple[Tag, ...]:
        """The tags that show flow to the larvae; where there is none, all that show the water."""
        flow = (self.flow, self.witness)
        rest = (self.supply, self.level, self.float, self.mains)
        return tuple(tag for tag in (flow if self.flow_is_seen else rest) if tag is not None)


def chain_of(rig: Rig, line: Line) -> Chain:
    """The way of the water through this line to its tank."""
    pump = rig.pump_into(line.source) if line.kind == "siphon" else None
    circuit = pump.circuit if pump is not None else line.circuit
    return Chain(
        line=line,
        header=rig.vessel.get(line.source or ""),
        tank=rig.vessel.get(line.target or ""),
        pump=pump,
        flow=rig.tag_for("flow", line.id),
        witness=rig.tag_for("flow witness", line.id),
        supply=rig.tag_for("flow", pump.id) if pump is not None else None,
        mains=rig.tag_for("mains", circuit),
        level=rig.tag_for("level", line.source),
        float=rig.tag_for("float", line.source),
        tank_level=rig.tag_for("level", line.target),
        temperature=rig.tag_for("temperature", line.target),
    )
