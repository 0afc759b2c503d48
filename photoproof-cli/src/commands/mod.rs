//! One file per command. Commands measure nothing and know no threshold.

pub(crate) mod check;
pub(crate) mod claim;
pub(crate) mod compare;
pub(crate) mod explain;
pub(crate) mod inspect;
pub(crate) mod ledger;
pub(crate) mod seal;
pub(crate) mod shots;
pub(crate) mod volume;
