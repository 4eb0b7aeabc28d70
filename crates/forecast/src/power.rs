//! Panel, charger and battery: from light on the cells to charge in the store.

pub mod ageing;
pub mod battery;
pub mod charge_table;
pub mod charger;
