//! After spraying: what is measured and tested of a part, with what, and what stops its release.
//!
//! Values and judgements only: a length against its limits, a coupon against what the approver expects, a
//! tool at a time. A blank is never 'fine'.

mod coupon;
mod length;
mod load;
mod release;
mod size;
mod tool;

pub use coupon::{Condition, Expected, ExpectedFault, Measured, Property, missed};
pub use length::{Length, LengthFault, Unit};
pub use load::{NoRoom, cycle, may_join};
pub use release::{Checked, Crack, Out, Soak, Stop, stops};
pub use size::{Dimension, DimensionFault, Finding};
pub use tool::{Calibration, Measures, Report, Tool, ToolFault};
