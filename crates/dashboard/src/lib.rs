//! `dashboard`: the local page and its stream. It takes views as ready JSON text, serves one embedded page with
//! server-sent events, and hands the mechanic's actions on.
//!
//! It does not decide anything, does not know rules or readings, and does not listen beyond the loopback interface
//! unless the caller says so in as many words.
//!
//! ```text
//! daemon --watch(view JSON)--> relay --what is new--> /events --> page
//! daemon <--mpsc(Asked)------- /act <------------------------------ page
//! ```
//! The daemon sends its view at least once a second, changed or not, and at once when something has happened. A view that
//! differs in nothing but `seq`, `now_ms` and fractions of a second of `live.age_ms` reaches no page; it renews the age of
//! the view that is shown, and a beat once a second tells the page that age. The page takes a view that was not renewed
//! for 4 s as a lost link, so that a daemon that hangs behind a live server never leaves a verdict standing.

mod act;
mod config;
mod connection;
mod events;
pub mod guard;
mod page;
mod relay;
mod routes;
mod serve;
mod slots;
mod stall;

pub use act::ActRequest;
pub use config::{Config, Limits, ServeError};
pub use page::PAGE_BUDGET_BYTES;
pub use serve::serve;
