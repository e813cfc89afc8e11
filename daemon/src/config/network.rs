//! Networks as an allow-list names them: an address, or an address with the length of its prefix.

use std::fmt;
use std::net::{IpAddr, Ipv6Addr};

use serde::Deserialize;

/// `192.0.2.0/24`, `2001:db8::/32`, or one address.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(try_from = "String")]
pub struct Network {
    address: IpAddr,
    prefix: u8,
}

impl Network {
    /// Whether an address lies in it. An IPv4 address is the same written as IPv6.
    #[must_use]
    pub fn holds(&self, address: IpAddr) -> bool {
        let address = address.to_canonical();
        if address.is_ipv4() != self.address.is_ipv4() {
            return false;
        }
        let host_bits = u32::from(width(address) - self.prefix);
        // A shift by all 128 bits would be none.
        let part = |a: IpAddr| bits(a).checked_shr(host_bits).unwrap_or(0);
        part(address) == part(self.address)
    }
}

fn width(address: IpAddr) -> u8 {
    if address.is_ipv4() { 32 } else { 128 }
}

fn bits(address: IpAddr) -> u128 {
    match address {
        IpAddr::V4(v4) => v4.to_bits().into(),
        IpAddr::V6(v6) => Ipv6Addr::to_bits(v6),
    }
}

impl TryFrom<String> for Network {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        let wrong = || format!("`{text}` is no network: write 192.0.2.0/24 or one address");
        let (address, prefix) = text.split_once('/').unwrap_or((&text, ""));
        let address: IpAddr = address.parse().map_err(|_not| wrong())?;
        let address = address.to_canonical();
        let whole = width(address);
        let prefix = match prefix {
            "" if !text.contains('/') => whole,
            told => told.parse().map_err(|_not| wrong())?,
        };
        let network = Self { address, prefix };
        (prefix <= whole).then_some(network).ok_or_else(wrong)
    }
}

impl fmt::Display for Network {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.address, self.prefix)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn network(text: &str) -> Result<Network, String> {
        Network::try_from(text.to_owned())
    }

    #[test]
    fn a_network_holds_what_its_prefix_says() {
        for (text, inside, outside) in [
            ("192.0.2.0/24", "192.0.2.255", "192.0.3.0"),
            ("192.0.2.77/24", "::ffff:192.0.2.1", "::192.0.2.1"),
            ("192.0.2.7", "192.0.2.7", "192.0.2.6"),
            ("0.0.0.0/0", "203.0.113.9", "2001:db8::1"),
            ("::/0", "2001:db8::1", "192.0.2.1"),
            ("2001:db8::/33", "2001:db8:7fff::1", "2001:db8:8000::1"),
        ] {
            let network = network(text).unwrap();
            assert!(network.holds(inside.parse().unwrap()), "{text} {inside}");
            assert!(!network.holds(outside.parse().unwrap()), "{text} {outside}");
        }
        for bad in [
            "",
            "/24",
            "192.0.2.0/33",
            "192.0.2.0/",
            "192.0.2/24",
            "::/129",
            "x/1",
        ] {
            assert!(network(bad).is_err(), "{bad}");
        }
    }
}
