"""The build spec: the one input, composed of the stages' specs."""

from __future__ import annotations

from typing import Final, Literal

from pydantic import Field

from subwright.base.fields import StageSpec, choice
from subwright.stages.amplifier import AmplifierSpec
from subwright.stages.battery_guard import BatteryGuardSpec
from subwright.stages.board import BoardSpec
from subwright.stages.cabin import CabinSpec
from subwright.stages.control import ControlSpec
from subwright.stages.converter import ConverterSpec
from subwright.stages.driver import DriverSpec
from subwright.stages.enclosure import EnclosureSpec
from subwright.stages.filter import FilterSpec
from subwright.stages.goal import GoalSpec
from subwright.stages.heat import HeatSpec
from subwright.stages.input import InputSpec
from subwright.stages.protection import ProtectionSpec
from subwright.stages.speaker_guard import SpeakerGuardSpec
from subwright.stages.supply import SupplySpec
from subwright.stages.transformer import TransformerSpec
from subwright.stages.wiring import WiringSpec

__all__ = ["FORMAT_VERSION", "BuildSpec"]

FORMAT_VERSION: Final = 1


class BuildSpec(StageSpec):
    """Everything that a build file may say. Only the driver and the battery are needed."""

    format_version: Literal[1] = choice(FORMAT_VERSION, why="Version of this file's format.")
    name: str = Field(min_length=1, max_length=80, description="What you call this build.")
    note: str = choice("", why="Anything the next builder should know; printed on the cover.")
    drawer: str | None = choice(
        None, why="Drawer file with the parts at hand, relative to this file; none: the library only."
    )
    goal: GoalSpec = Field(default_factory=GoalSpec, description="How loud, how low, what programme.")
    supply: SupplySpec = Field(default_factory=SupplySpec, description="Battery, cable and ambient.")
    driver: DriverSpec = Field(description="The loudspeaker driver.")
    enclosure: EnclosureSpec = Field(default_factory=EnclosureSpec, description="The box.")
    cabin: CabinSpec = Field(default_factory=CabinSpec, description="Where it plays.")
    amplifier: AmplifierSpec = Field(default_factory=AmplifierSpec, description="The power amplifier.")
    converter: ConverterSpec = Field(default_factory=ConverterSpec, description="Battery to rails.")
    transformer: TransformerSpec = Field(default_factory=TransformerSpec, description="Core and windings.")
    protection: ProtectionSpec = Field(default_factory=ProtectionSpec, description="When it shuts down.")
    battery_guard: BatteryGuardSpec = Field(
        default_factory=BatteryGuardSpec, description="Reversed battery and pulses."
    )
    input: InputSpec = Field(default_factory=InputSpec, description="Line or loudspeaker-level inputs.")
    speaker_guard: SpeakerGuardSpec = Field(
        default_factory=SpeakerGuardSpec, description="Direct voltage at the loudspeaker."
    )
    control: ControlSpec = Field(default_factory=ControlSpec, description="Switching on and off, standby.")
    filter: FilterSpec = Field(default_factory=FilterSpec, description="Summing, infrasonic, low-pass.")
    wiring: WiringSpec = Field(default_factory=WiringSpec, description="Links, tracks, speaker cable.")
    board: BoardSpec = Field(default_factory=BoardSpec, description="Printed boards of the low-power blocks.")
    heat: HeatSpec = Field(default_factory=HeatSpec, description="Heatsink and temperatures.")
