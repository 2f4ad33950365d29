//! A bike: its parts, the routes and colours of its wires, its maker's specifications, and its state during a walk.
//!
//! The profile names parts of the catalogue's kinds and the wires between them. What a part is to the ignition is found in the wiring.

mod feed;
mod limits;
mod load;
mod net;
mod profile;
mod roles;
mod shape;
mod state;
mod terminals;
mod value;
mod values;

pub use feed::FeedPart;
pub use load::{beside, from_tree, kinds_used, load, parse};
pub use profile::{
    Bike, Coil, Condenser, Connector, Fuse, Part, Plug, PointsSet, Polarity, Shaft, Side, Specified, Starter, Switch,
    SwitchAction, SwitchPosition, Wire, WireRole,
};
pub use shape::BIKE;
pub use state::{BikeState, Change, Engine, Instrument, InstrumentKind, PointsAt, StateNeed};
pub use value::{COLOURS, EnglishWords, Words, as_value};
