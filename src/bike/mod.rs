//! A bike: its parts, the routes and colours of its wires, its maker's specifications, and its state during a walk.

mod electric;
mod feed;
mod load;
mod parts;
mod profile;
mod shape;
mod state;
mod terminals;
mod value;

pub use electric::{BatteryTable, Electric, Opening, Windings};
pub use feed::FeedPart;
pub use load::{from_tree, load, parse};
pub use parts::WireRole;
pub use profile::{
    Bike, Coil, Condenser, Connector, Fuse, KillAction, Plug, PointsSet, Polarity, Side, Specified, Starter, Switch,
    SwitchPosition, Wire,
};
pub use shape::BIKE;
pub use state::{BikeState, Change, Engine, Instrument, InstrumentKind, PointsAt, StateNeed};
pub use value::{COLOURS, EnglishWords, Words, as_value};
