//! What the service is told at its start.

use std::net::{Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;

use crate::solve::Limits;

/// Every setting of the web service.
#[derive(Debug, Clone)]
pub struct Config {
    /// Address to listen on. Loopback unless the crew chooses otherwise: a service that others on the
    /// network can reach must be a decision.
    pub listen: SocketAddr,
    /// Names, besides its own addresses, under which browsers may ask for the service.
    pub host_names: Vec<String>,
    /// Browsers reach the service over https, through a proxy: cookies are marked `Secure`.
    pub behind_https: bool,
    /// The demonstration site: anybody signs in as any of its people by one button.
    pub demonstration: bool,
    /// Folders on other disks or sticks to which copies go too.
    pub backup_to: Vec<PathBuf>,
    /// How long a request may take.
    pub time_limit: Duration,
    /// How plans are searched for where nobody asks for longer.
    pub search: Limits,
    /// Changes tried for each plan with which a load of a trip is judged: a run judges hundreds of loads.
    pub load_iterations: u64,
}

impl Default for Config {
    fn default() -> Self {
        Config {
            listen: SocketAddr::from((Ipv4Addr::LOCALHOST, PORT)),
            host_names: Vec::new(),
            behind_https: false,
            demonstration: false,
            backup_to: Vec::new(),
            time_limit: Duration::from_secs(30),
            search: Limits::default(),
            load_iterations: 2_000,
        }
    }
}

const PORT: u16 = 8750;
