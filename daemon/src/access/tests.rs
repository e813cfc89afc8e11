//! Roles, sessions and passphrases as the web asks for them; times by the sessions' own figures.

use std::fs;
use std::os::unix::fs::MetadataExt as _;

use super::*;

const COACH: &str = "four words of a coach";
const OWNER: &str = "another four of the owner";
const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

struct Place(PathBuf);

impl Place {
    fn new(name: &str) -> Self {
        let dir = std::env::temp_dir().join(format!("whin-access-{}-{name}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        Self(dir)
    }

    fn config(&self) -> Config {
        let text = "version = 1\n[http]\ntls = \"proxy\"\n[access]\nfile = \"access.toml\"\n";
        Config::from_toml(text, &self.0.join("bay.toml")).unwrap()
    }

    fn secrets(&self) -> Secrets {
        let mut secrets = Secrets::default();
        secrets.set(Role::Coach, COACH).unwrap();
        secrets.set(Role::Owner, OWNER).unwrap();
        secrets.save(&self.0.join("access.toml")).unwrap();
        secrets
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        drop(fs::remove_dir_all(&self.0));
    }
}

#[test]
fn a_passphrase_is_long_and_one_roles_only() {
    let mut secrets = Secrets::default();
    let short = secrets.set(Role::Coach, "fourteen chars").unwrap_err();
    assert_eq!(short.code(), Code::AccessWeak);
    secrets.set(Role::Coach, "fifteen letters").unwrap();
    assert!(secrets.set(Role::Owner, "fifteen letters").is_err());
    assert!(secrets.set(Role::Display, COACH).is_err());
    assert!(secrets.set(Role::Coach, &"x".repeat(1025)).is_err());
    // The PHC string format with the parameters that the module names.
    let hash = secrets.coach.clone().unwrap();
    assert!(
        hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
        "{hash}"
    );
    assert_eq!(secrets.role_of("fifteen letters"), Some(Role::Coach));
    assert_eq!(secrets.role_of("fifteen letterS"), None);
    assert_eq!(Secrets::default().role_of(""), None);
}

/// Made by the Python package argon2-cffi 25.1 (libargon2): PasswordHasher(time_cost=2, memory_cost=19456,
/// parallelism=1).hash("fifteen letters").
#[test]
fn a_hash_of_another_library_is_understood() {
    let mut secrets = Secrets::default();
    secrets.coach = Some("$argon2id$v=19$m=19456,t=2,p=1$zXt5gq2HKy/ihSf3iFGz5A$UyeHDMYsU/YyuFjs06VU0VA83s12mkOBu7O9warD8JE".into());
    assert_eq!(secrets.role_of("fifteen letters"), Some(Role::Coach));
    assert_eq!(secrets.role_of("fifteen letter"), None);
}

#[test]
fn others_are_let_in_only_where_a_passphrase_is_set() {
    let place = Place::new("open");
    let refused = Access::new(&place.config(), Clock::start()).unwrap_err();
    assert_eq!(refused.code(), Code::HttpNotLoopback);
    assert!(refused.to_string().contains("whin access set-passphrase"));
    place.secrets();
    assert!(Access::new(&place.config(), Clock::start()).is_ok());
    let at = |listen: &str, more: &str| {
        let text = format!("version = 1\n[http]\nlisten = \"{listen}\"\n{more}");
        let policy = Policy::of(&Config::from_toml(&text, Path::new("bay.toml")).unwrap());
        (policy.login, policy.tls, policy.https)
    };
    for here in ["127.0.0.1:8080", "[::1]:1", "[::ffff:127.0.0.1]:80"] {
        assert_eq!(at(here, ""), (false, false, false), "{here}");
    }
    for there in ["0.0.0.0:1", "192.0.2.1:1", "[::]:1", "[::ffff:10.0.0.1]:80"] {
        assert_eq!(at(there, ""), (true, true, true), "{there}");
        assert_eq!(at(there, "tls = \"proxy\""), (true, false, true), "{there}");
    }
    assert_eq!(at("127.0.0.1:1", "names = [\"bay\"]"), (true, false, false));
    assert_eq!(at("127.0.0.1:1", "tls = \"always\""), (true, true, true));
}

#[tokio::test]
async fn a_session_goes_over_a_restart_and_ends_by_logout_and_another_passphrase() {
    let place = Place::new("sessions");
    let secrets = place.secrets();
    let access = Access::new(&place.config(), Clock::start()).unwrap();
    assert_eq!(access.pass(None), None);
    assert_eq!(access.pass(Some("")), None);
    let wrong = access.log_in("nobody's passphrase".into(), HERE).await;
    assert_eq!(wrong.err().unwrap().code(), Code::AccessWrong);
    let (token, role) = access.log_in(COACH.into(), HERE).await.unwrap();
    assert_eq!((role, token.text().len()), (Role::Coach, 64));
    let (other, _) = access.log_in(OWNER.into(), HERE).await.unwrap();
    drop(access);
    let access = Access::new(&place.config(), Clock::start()).unwrap();
    let pass = access.pass(Some(token.text())).unwrap();
    assert!(pass.role == Role::Coach && access.holds(&pass));
    let owner = access.pass(Some(other.text())).unwrap();
    access.log_out(&owner);
    assert!(access.pass(Some(other.text())).is_none() && !access.holds(&owner));
    // Set meanwhile by the command.
    let mut changed = secrets;
    changed.set(Role::Coach, "yet another passphrase").unwrap();
    access.state().secrets.set(changed);
    assert!(!access.holds(&pass));
    for file in ["access.toml", "access.sessions", "access.log"] {
        let text = fs::read_to_string(place.0.join(file)).unwrap();
        assert!(
            !text.contains(token.text()) && !text.contains(COACH),
            "{file}"
        );
        let mode = fs::metadata(place.0.join(file)).unwrap().mode();
        assert_eq!(mode & 0o777, 0o600, "{file}");
    }
    let log = fs::read_to_string(place.0.join("access.log")).unwrap();
    let events: Vec<serde_json::Value> = log
        .lines()
        .map(|l| serde_json::from_str(l).unwrap())
        .collect();
    let events: Vec<_> = events
        .iter()
        .map(|e| e["event"].as_str().unwrap())
        .collect();
    assert_eq!(events, ["login_failed", "login", "login", "logout"]);
    assert!(!log.contains("127.0.0.1"), "{log}");
}

#[test]
fn sessions_run_out_and_make_room() {
    const HOUR: u64 = 3_600_000_000_000;
    let secrets = Secrets::default();
    let mut sessions = Sessions::default();
    let (idle, _) = sessions.begin(Role::Coach, &secrets, 0).unwrap();
    assert!(sessions.find(idle.text(), &secrets, HOUR).is_some());
    assert!(sessions.find(idle.text(), &secrets, 2 * HOUR + 1).is_none());
    let (used, _) = sessions.begin(Role::Owner, &secrets, 0).unwrap();
    let alive = (1..).take_while(|h| sessions.find(used.text(), &secrets, h * HOUR).is_some());
    assert_eq!(alive.count(), 12, "the whole of a day's work");
    let (display, _) = sessions.begin(Role::Display, &secrets, 0).unwrap();
    for _ in 0..100 {
        sessions.begin(Role::Coach, &secrets, 1).unwrap();
    }
    assert!(
        sessions
            .find(display.text(), &secrets, 29 * 24 * HOUR)
            .is_some()
    );
    assert_eq!(sessions.displays().len(), 1);
}

#[tokio::test]
async fn a_code_pairs_one_display_and_names_need_the_owner() {
    let place = Place::new("pairing");
    place.secrets();
    let access = Access::new(&place.config(), Clock::start()).unwrap();
    let (token, _) = access.log_in(OWNER.into(), HERE).await.unwrap();
    let owner = access.pass(Some(token.text())).unwrap();
    let (code, seconds) = access.open_pairing(&owner).unwrap();
    assert!(seconds >= 299);
    let display = access.pair(&code, HERE).unwrap();
    assert!(access.pair(&code, HERE).is_err(), "once");
    let pass = access.pass(Some(display.text())).unwrap();
    assert_eq!((pass.role, pass.names), (Role::Display, false));
    let id = pass.session.clone().unwrap();
    access.show_names(&id, true, &owner).unwrap();
    assert!(!access.holds(&pass), "an open screen comes back");
    assert!(access.pass(Some(display.text())).unwrap().names);
    access.remove_display(&id, &owner).unwrap();
    assert!(access.pass(Some(display.text())).is_none());
    assert!(
        access
            .remove_display(&owner.session.clone().unwrap(), &owner)
            .is_err()
    );
}
