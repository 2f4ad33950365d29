//! A bike: what it has, where its wires go and in which colours, what its maker specifies; and the state it is in during a
//! walk.

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
