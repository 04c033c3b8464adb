"""From a case to its network, in the asked-for fidelity."""

from __future__ import annotations

from itertools import pairwise

from airpath.acoustics.driver import mechanical_set
from airpath.acoustics.ends import flanged_length
from airpath.acoustics.radiation import disc_mass
from airpath.acoustics.viscothermal import Section
from airpath.case.media import case_air, fill_of, included_air_mass
from airpath.case.schema import Case, Port
from airpath.case.surroundings import missing_places
from airpath.elements.base import Element
from airpath.elements.chamber import Chamber, cube_wall_area
from airpath.elements.cone import Cone
from airpath.elements.duct import Duct
from airpath.elements.mouth import Mouth
from airpath.elements.passage import Passage
from airpath.elements.plug import Plug
from airpath.errors import AirpathError, CaseError, FidelityError
from airpath.network import drawn, joints, passages
from airpath.network.graph import OUTSIDE, Branch, Network, Opening, Places, Role, both_ends
from airpath.network.horns import Way, horn_way
from airpath.network.limits import SPREAD, limits
from airpath.network.surroundings import Outlet, is_placed, surroundings

MODELS = ("lumped", "line", "field")


def models_for(case: Case) -> tuple[str, ...]:
    """Return the fidelities that a case allows, simplest first. Raises FidelityError if there is none."""
    shaped = is_placed(case) or any(horn.outline is not None for horn in case.horns.values()) or any(
        table.outline is not None or joints.is_placed(table, joints.joints_of(case, name))
        for name, table in case.chambers.items()
    )
    return MODELS if shaped else MODELS[:2]


def build(case: Case, model: str) -> Network:
    """Return the network of a case.

    Raises FidelityError for a fidelity that it can't have, CaseError for a box that can't be.
    """
    chosen_model(case, model)
    try:
        return _Builder(case, model).network()
    except AirpathError:
        raise
    except ValueError as error:  # of an element: a changed case is not checked again
        raise CaseError(f"{label(case)}: {error}") from None


def chosen_model(case: Case, model: str | None) -> str:
    """Return a fidelity, or the highest that a case allows. Raises FidelityError for one that it can't have."""
    allowed = models_for(case)
    if model is not None and model not in allowed:
        raise FidelityError(_refusal(case, model, ", ".join(allowed)))
    return allowed[-1] if model is None else model


def _refusal(case: Case, model: str, allowed: str) -> str:
    """Say why a case can't be solved in a fidelity, and what would let it."""
    if model not in MODELS:
        return f'{label(case)}: there is no model "{model}": choose from {allowed}'
    room = ""
    if case.room is not None and case.room.size is not None:
        room = f", or a room with every place in it (missing: {', '.join(missing_places(case))})"
    return (
        f'{label(case)}: the model "{model}" needs a chamber given by an outline, or by size with the position '
        f"of everything that opens into it (rear_at, from_at, to_at){room}; this case allows {allowed}"
    )


def label(case: Case) -> str:
    """Return how messages call a case: its file's name."""
    return case.source.name if case.source is not None else case.name


class _Builder:
    """Collects branches; one method per kind of part."""

    def __init__(self, case: Case, model: str) -> None:
        self.case, self.lumped, self.field = case, model == "lumped", model == "field"
        self.air = case_air(case)
        self.branches: list[Branch] = []
        self.openings: list[Opening] = []
        self.outlets: dict[str, Outlet] = {}
        self.chambers: dict[str, tuple[int, ...]] = {}
        self.nodes: dict[str, str] = {}
        self.volumes: dict[str, float] = {}
        self.waves: dict[str, float] = {}  # lowest wavenumber of each drawn chamber
        self.own_near_field: set[str] = set()  # joints whose chamber brings the air in front of the opening itself
        self.notes: list[str] = []

    def network(self) -> Network:
        for name in self.case.chambers:
            self._chamber(name)
        driver = self._driver()
        for name, port in self.case.ports.items():
            self._port(name, port)
        for name in self.case.horns:
            self._horn(name)
        openings = self._around()
        return Network(
            air=self.air, branches=tuple(self.branches), driver=driver, openings=openings,
            chambers=self.chambers, volumes=self.volumes,
            notes=(*self.notes, *limits(self.case, self.air.sound_speed, self.volumes, self.waves)),
            room=self.case.room is not None,
        )  # fmt: skip

    def _add(self, owner: str, role: Role, element: Element, *nodes: str) -> int:
        self.branches.append(Branch(owner=owner, role=role, element=element, nodes=nodes))
        return len(self.branches) - 1

    def _chamber(self, name: str) -> None:
        table, found = self.case.chambers[name], joints.joints_of(self.case, name)
        if table.outline is not None:
            self._drawn_chamber(name, found)
            return
        placed = not self.lumped and joints.is_placed(table, found)
        make = joints.lumped_chamber if not placed else joints.modal_chamber if self.field else joints.duct_chamber
        try:
            branches, nodes = make(name, table, found)
        except joints.OpeningError as error:
            raise CaseError(f"{label(self.case)}: {error.problem(self.case, name)}") from None
        if placed and self.field:
            self.own_near_field |= set(nodes)
            self.notes += [SPREAD.format(name)] * (table.fill is not None)
        self._place(name, branches, nodes, joints.chamber_volume(table))
        if not self.lumped and not placed:
            missing = ", ".join(j.key for j in found if j.position is None)
            why = f"no position for {missing}" if table.size is not None else "no size given"
            self.notes.append(f'chamber "{name}" acts as one pressure in every model: {why}')

    def _drawn_chamber(self, name: str, found: list[joints.Joint]) -> None:
        table = self.case.chambers[name]
        shape = drawn.read_chamber(self.case, name, found)
        self.waves[name] = shape.lowest_wavenumber
        if not self.field:
            branches, nodes = joints.one_pressure(
                name, table, found, shape.volume, shape.wall_area, shape.spread(fill_of(table))
            )
            self._place(name, branches, nodes, shape.volume)
            return
        branches, nodes, notes = drawn.field_chamber(self.case, name, table, shape, self.air, found)
        self._place(name, branches, nodes, shape.volume)
        self.own_near_field |= set(nodes)
        self.notes += notes

    def _place(self, name: str, branches: list[Branch], nodes: dict[str, str], volume: float) -> None:
        self.volumes[name] = volume
        first = len(self.branches)
        self.branches += branches
        self.chambers[name] = tuple(range(first, len(self.branches)))
        self.nodes |= nodes

    def _driver(self) -> int:
        driver, air = self.case.driver, self.air
        nodes, load = [], 0.0
        for side, space in (("front", driver.front), ("rear", driver.rear)):
            if space == OUTSIDE:
                nodes.append(f"cone.{side}")
            elif space in self.case.horns:
                nodes.append(_horn_node(space, self._taps(space)[1][side]))
            else:
                nodes.append(self.nodes[f"driver.{side}"])
                at = driver.front_at if side == "front" else driver.rear_at
                share = self._share(f"driver.{side}", space, at, Section.round(driver.Sd), driver.count)
                load += disc_mass(driver.Sd, air.density) * share
        index = self._add("driver", "driver", self._cone(load), *nodes)
        section = Section.round(driver.Sd)
        mouth = Mouth(section=section, count=driver.count)
        for side, space, at in (("front", driver.front, driver.front_at), ("rear", driver.rear, driver.rear_at)):
            if space != OUTSIDE:
                continue
            name = "cone.rear" if "cone" in self.outlets else "cone"
            apart = name == "cone.rear" and self.case.room is None  # behind an endless baffle
            self._outlet(name, "driver", f"cone.{side}", mouth, None if apart else at)
            if not apart:
                self._opening(name, None, -1, both_ends(section.area * driver.count))
        if driver.front == driver.rear == OUTSIDE and self.case.room is None:
            self.notes.append("both sides of the cone face the outside: an endless baffle keeps the rear wave away")
        return index

    def _share(self, joint: str, chamber: str, at: joints.Position | None, section: Section, count: int = 1) -> float:
        """Return how much of a flanged end's mass belongs to an opening itself: none in a chamber with a near field."""
        if joint in self.own_near_field:
            return 0.0
        share = joints.share_at(self.case.chambers[chamber], at, section, count)
        return 1.0 if share is None else share

    def _cone(self, load: float) -> Cone:
        driver = self.case.driver
        values = mechanical_set(driver.given, driver.Sd, driver.Re)
        included = included_air_mass(driver)
        mass = values.Mms - included
        if mass <= 0:
            raise CaseError(
                f"{label(self.case)}: [driver] Mms = {values.Mms * 1e3:.3g} g is less than the {included * 1e3:.3g} g "
                f"of air that moves with such a cone when measured in {driver.measured_in}: check Mms, fs, Vas and Sd"
            )
        self.notes.append(
            f"driver: {included * 1e3:.2g} g of air of the {driver.measured_in} measurement taken off Mms = "
            f"{values.Mms * 1e3:.3g} g"
        )
        if load > 0:
            self.notes.append(
                f"driver: {load * 1e3:.2g} g of air added where a side of the cone faces a chamber that acts as one "
                "pressure or as a duct"
            )
        if self.own_near_field & {"driver.front", "driver.rear"}:
            self.notes.append("driver: in the field model the chamber's own near field is the air at the cone")
        return Cone(
            mass=mass, compliance=values.Cms, resistance=values.Rms, force_factor=values.Bl, area=driver.Sd,
            Re=driver.Re, Le=driver.Le, Le2=driver.Le2, Re2=driver.Re2, air_mass=load, count=driver.count,
        )  # fmt: skip

    def _port(self, name: str, port: Port) -> None:
        start, section = self.nodes[f"{name}.from"], passages.port_section(port)
        area = section.area * port.count
        if port.covered and self.lumped:
            volume = passages.port_volume(port)
            stub = self._add(name, "port", Chamber(volume=volume, wall_area=cube_wall_area(volume)), start)
            self._opening(name, stub, stub, both_ends(area), radiates=False)
            return
        inner = self._inner_end(name, port, "from")
        stages = passages.end_plug(passages.end_section(port, "from"), inner, port.count)
        stages += passages.body(port, self.lumped)
        end = f"{name}.end"
        outside = port.to == OUTSIDE
        if not port.covered and not outside:
            length = self._inner_end(name, port, "to")
            stages += passages.end_plug(passages.end_section(port, "to"), length, port.count)
            end = self.nodes[f"{name}.to"]
        duct = self._add(name, "port", passages.chain(stages), start, end)
        if outside and not port.covered:
            mouth = Mouth(
                section=passages.end_section(port, "to"), count=port.count, flanged=port.to_end != "free",
                along_wall=port.along_wall,
            )  # fmt: skip
            self._outlet(name, name, end, mouth, port.at)
        self._opening(name, duct, duct, passages.port_places(port), radiates=outside and not port.covered)

    def _inner_end(self, name: str, port: Port, end: str) -> float:
        """Return the end correction [m] of a port inside a chamber: none where the chamber has its own near field."""
        if f"{name}.{end}" in self.own_near_field:
            return 0.0
        space, at = (port.from_, port.from_at) if end == "from" else (port.to, port.to_at)
        share = joints.share_at(self.case.chambers[space], at, passages.end_section(port, end), port.count)
        return passages.inner_end_length(port, end, share)

    def _taps(self, horn: str) -> tuple[list[float], dict[str, float]]:
        """Return the stations of a horn [m] from throat to mouth, and at which of them each driver side sits."""
        driver = self.case.driver
        sides = {"front": (driver.front, driver.front_along), "rear": (driver.rear, driver.rear_along)}
        place = {side: along or 0.0 for side, (space, along) in sides.items() if space == horn}
        return joints.merge_near(place, horn_way(self.case, horn).length)

    def _horn(self, name: str) -> None:
        table, horn = self.case.horns[name], horn_way(self.case, name)
        stations, _ = self._taps(name)
        solved = horn.drawn is not None and self.field
        if solved and len(stations) > 2:
            self.notes.append(f'horn "{name}": the driver sits along it, so the field model takes its equivalent horn')
            solved = False
        first = last = -1
        for a, b in pairwise(stations):
            stages = [self._field_horn(name, horn)] if solved else []
            stages = stages or passages.profile(passages.stretch(horn.pieces, a, b), self.lumped)
            nodes = [_horn_node(name, a), _horn_node(name, b)]
            if a == 0.0 and table.from_ is not None:
                share = self._share(f"{name}.from", table.from_, table.from_at, horn.throat)
                stages = passages.end_plug(horn.throat, flanged_length(horn.throat) * share) + stages
                nodes[0] = self.nodes[f"{name}.from"]
            if b == horn.length and table.to != OUTSIDE:
                stages += passages.end_plug(horn.mouth, flanged_length(horn.mouth))
                nodes[1] = self.nodes[f"{name}.to"]
            last = self._add(name, "horn", passages.chain(stages), *nodes)
            first = last if first < 0 else first
        if table.to == OUTSIDE:
            self._outlet(name, name, _horn_node(name, horn.length), Mouth(section=horn.mouth), table.at)
        self._opening(name, first, last, horn.places, radiates=table.to == OUTSIDE)

    def _field_horn(self, name: str, horn: Way) -> Element:
        """Return a drawn horn as finite elements between its throat and its mouth."""
        assert horn.drawn is not None
        fill = fill_of(self.case.horns[name])
        element, notes = drawn.reduced(self.case, f'horn "{name}"', horn.drawn, self.air, None, fill)
        self.notes += notes
        return element

    def _leak(self, name: str, outside: str) -> None:
        leak = self.case.chambers[name].leak
        if leak is None:
            return
        section = Section(height=leak.diameter)
        body = Plug if self.lumped else Duct
        stages = [*passages.end_plug(section, flanged_length(section)), body(section=section, length=leak.length)]
        found = [node for joint in joints.joints_of(self.case, name) if (node := self.nodes.get(joint.key))]
        label = f"{name}.leak"
        mouth = Passage(stages=(*stages, Mouth(section=section)))
        index = self._add(label, "leak", mouth, found[0], outside)
        self._opening(label, index, index, both_ends(section.area), node=outside)
        self.notes.append(f'leak of "{name}": a round hole {leak.diameter * 1e3:.3g} mm wide and '
                          f"{leak.length * 1e3:.3g} mm deep")  # fmt: skip

    def _around(self) -> tuple[Opening, ...]:
        """Add what is around the box and what leaks into it; return all openings in the order of the case."""
        try:
            around = surroundings(self.case, list(self.outlets.values()), self.field, self.air)
        except ValueError as error:
            place = "places outside" if self.case.room is None else "[room]"
            raise CaseError(f"{label(self.case)}: {place}: {error}") from None
        offset = len(self.branches)
        self.branches += around.branches
        openings = [
            around.opening(o, self.outlets[o.name], offset) if o.name in self.outlets else o
            for o in self.openings
        ]
        self.openings = openings
        for name in self.case.chambers:
            self._leak(name, around.node)
        self.notes += around.notes
        return tuple(self.openings)

    def _outlet(self, name: str, owner: str, node: str, mouth: Mouth, at: joints.Position | None) -> None:
        self.outlets[name] = Outlet(name=name, owner=owner, node=node, mouth=mouth, at=at)

    def _opening(
        self, name: str, inflow: int | None, outflow: int, places: Places, radiates: bool = True, node: str = OUTSIDE
    ) -> None:
        self.openings.append(
            Opening(name=name, inflow=inflow, outflow=outflow, places=places, radiates=radiates, node=node)
        )


def _horn_node(name: str, along: float) -> str:
    return f"{name}.at {along * 1000:.9g} mm"
