"""A small board laid by hand: a resistor, a diode, a chip of eight pins, a link, every kind of pad."""

from __future__ import annotations

from subwright.boards.record import Board, Hole, Link, Outline, Pad, Placed, Rules, Track, WirePad

__all__ = ["SAMPLE"]


def _axial(case: str, label: str, x: int, y: int, nets: tuple[str, str], diode: bool = False) -> Placed:
    pins = ("A", "K") if diode else ("1", "2")
    half = 5_080
    return Placed(
        case=case,
        footprint="DO-35, 10.16 mm" if diode else "axial 0207, 10.16 mm",
        x_um=x,
        y_um=y,
        turn=0,
        body=Outline(
            points=(
                (x - 3_250, y - 1_200),
                (x + 3_250, y - 1_200),
                (x + 3_250, y + 1_200),
                (x - 3_250, y + 1_200),
            )
        ),
        pads=tuple(
            Pad(
                case=case, pin=pin, net=net, x_um=x + at, y_um=y, hole_um=900, across_um=2_000, along_um=2_000
            )
            for pin, net, at in zip(pins, nets, (-half, half), strict=True)
        ),
        label=label,
        polarity=(x + 2_600, y) if diode else None,
        height_um=2_500,
    )


def _chip(case: str, x: int, y: int, nets: tuple[str, ...]) -> Placed:
    places = [(-3_810, 3_810 - 2_540 * k) for k in range(4)] + [(3_810, -3_810 + 2_540 * k) for k in range(4)]
    return Placed(
        case=case,
        footprint="DIP-8",
        x_um=x,
        y_um=y,
        turn=0,
        body=Outline(
            points=(
                (x - 3_100, y - 5_000),
                (x + 3_100, y - 5_000),
                (x + 3_100, y + 5_000),
                (x - 3_100, y + 5_000),
            )
        ),
        pads=tuple(
            Pad(
                case=case,
                pin=str(k),
                net=net,
                x_um=x + dx,
                y_um=y + dy,
                hole_um=900,
                across_um=2_400,
                along_um=1_600,
            )
            for k, (net, (dx, dy)) in enumerate(zip(nets, places, strict=True), 1)
        ),
        label="TL072",
        polarity=(x, y + 4_400),
        height_um=4_500,
    )


SAMPLE = Board(
    key="line-filter",
    title="Line-level filter",
    width_um=50_800,
    height_um=38_100,
    placed=(
        _axial("R101", "4.7 kΩ", 17_780, 30_480, ("IN", "SUM")),
        _axial("D101", "1N4148", 17_780, 7_620, ("GND", "SUM"), diode=True),
        _chip("U101", 33_020, 19_050, ("OUT", "SUM", "GND", "NEG_OP", "", "", "", "POS_OP")),
    ),
    tracks=(
        Track(net="SUM", points=((22_860, 30_480), (22_860, 20_320), (29_210, 20_320)), width_um=800),
        Track(net="SUM", points=((22_860, 20_320), (22_860, 7_620)), width_um=800),
        Track(net="IN", points=((12_700, 30_480), (5_080, 30_480), (5_080, 25_400)), width_um=800),
        Track(net="GND", points=((12_700, 7_620), (12_700, 17_780), (16_510, 17_780)), width_um=1_600),
        Track(net="GND", points=((26_670, 17_780), (29_210, 17_780)), width_um=1_600),
        Track(net="OUT", points=((29_210, 22_860), (29_210, 31_750), (43_180, 31_750)), width_um=800),
        Track(net="GND", points=((12_700, 17_780), (5_080, 17_780)), width_um=1_600),
        Track(net="POS_OP", points=((36_830, 22_860), (43_180, 22_860)), width_um=1_600),
        Track(net="NEG_OP", points=((29_210, 15_240), (29_210, 10_160), (43_180, 10_160)), width_um=1_600),
    ),
    links=(
        Link(
            number=1,
            net="GND",
            start=(16_510, 17_780),
            end=(26_670, 17_780),
            wire_um=600,
            hole_um=800,
            pad_um=1_800,
        ),
    ),
    wire_pads=(
        WirePad(name="IN", net="IN", x_um=5_080, y_um=25_400, hole_um=1_200, pad_um=2_800, leads_to="Inputs"),
        WirePad(
            name="0 V", net="GND", x_um=5_080, y_um=17_780, hole_um=1_200, pad_um=2_800, leads_to="Inputs"
        ),
        WirePad(
            name="OUT", net="OUT", x_um=43_180, y_um=31_750, hole_um=1_200, pad_um=2_800, leads_to="Modulator"
        ),
        WirePad(
            name="+OP",
            net="POS_OP",
            x_um=43_180,
            y_um=22_860,
            hole_um=1_200,
            pad_um=2_800,
            leads_to="Modulator",
        ),
        WirePad(name="−OP", net="NEG_OP", x_um=43_180, y_um=10_160, hole_um=1_200, pad_um=2_800, leads_to=""),
    ),
    holes=tuple(Hole(x_um=x, y_um=y, diameter_um=3_200) for x in (4_000, 46_800) for y in (4_000, 34_100)),
    rules=Rules(track_um=800, spacing_um=500, edge_um=2_000, copper_um=35, grid_um=635),
)
