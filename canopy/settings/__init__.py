"""Every adjustable number once: typed models with defaults, bounds and a sentence each; one module per room."""

from pydantic import BaseModel, ConfigDict, Field

from canopy.settings.growth import GrowthSettings
from canopy.settings.keep import KeepSettings
from canopy.settings.measure import MeasureSettings
from canopy.settings.messages import MessageSettings
from canopy.settings.nightly import NightlySettings
from canopy.settings.outputs import OutputSettings
from canopy.settings.photo import PhotoSettings
from canopy.settings.plan import PickSettings, PlanSettings
from canopy.settings.readiness import LearnSettings, ReadinessSettings
from canopy.settings.remote import RemoteSettings
from canopy.settings.scale import ScaleSettings
from canopy.settings.segment import SegmentSettings
from canopy.settings.sheet import SheetSettings
from canopy.settings.store import StoreSettings
from canopy.settings.tray import TraySettings
from canopy.settings.web import WebSettings

__all__ = [
    "GrowthSettings",
    "KeepSettings",
    "LearnSettings",
    "MeasureSettings",
    "MessageSettings",
    "NightlySettings",
    "OutputSettings",
    "PhotoSettings",
    "PickSettings",
    "PlanSettings",
    "ReadinessSettings",
    "RemoteSettings",
    "ScaleSettings",
    "SegmentSettings",
    "Settings",
    "SheetSettings",
    "StoreSettings",
    "TraySettings",
    "WebSettings",
]


class Settings(BaseModel):
    """All settings; `canopy.toml` holds the sections by these names."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    scale: ScaleSettings = Field(default_factory=ScaleSettings, description="How finely photos are decoded.")
    photo: PhotoSettings = Field(default_factory=PhotoSettings, description="Reading photos.")
    tray: TraySettings = Field(default_factory=TraySettings, description="Locating the tray.")
    segment: SegmentSettings = Field(default_factory=SegmentSettings, description="Plant or not, and whose leaf.")
    measure: MeasureSettings = Field(default_factory=MeasureSettings, description="Areas, colours, evenness.")
    readiness: ReadinessSettings = Field(default_factory=ReadinessSettings, description="Score and decision.")
    growth: GrowthSettings = Field(default_factory=GrowthSettings, description="Growth over days.")
    learn: LearnSettings = Field(default_factory=LearnSettings, description="Recipes learnt from outcomes.")
    plan: PlanSettings = Field(default_factory=PlanSettings, description="What to cut for the orders.")
    picks: PickSettings = Field(default_factory=PickSettings, description="Pick lists for machines.")
    outputs: OutputSettings = Field(default_factory=OutputSettings, description="Tables, pictures, report.")
    store: StoreSettings = Field(default_factory=StoreSettings, description="Store of readings, new photos.")
    nightly: NightlySettings = Field(default_factory=NightlySettings, description="How the nightly pass works.")
    sheet: SheetSettings = Field(default_factory=SheetSettings, description="Printed sheet and tray labels.")
    web: WebSettings = Field(default_factory=WebSettings, description="The page on the phone.")
