//! The ground under the golfer: force plates from channels to forces, centers of pressure and moments
//! on the golfer, in the bay frame. Reading in the order of this list; metrics are in `metrics`.

pub mod plate;
pub mod wrench;
pub mod zero;
pub(crate) mod series;
pub mod window;
pub mod forces;
pub mod feet;
pub mod audit;
pub mod book;
pub mod now;
pub mod tap;
