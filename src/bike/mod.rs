//! A bike: what it has, where its wires go and in which colours, what its maker specifies; and the state it is in during a
//! walk.

mod profile;
mod state;

pub use profile::{
    Bike, Coil, Condenser, Connector, Fuse, KillAction, Plug, PointsSet, Polarity, Side, Specified, Starter, Switch,
    SwitchPosition, Wire,
};
pub use state::{BikeState, Change, Engine, Instrument, InstrumentKind, PointsAt, StateNeed};
