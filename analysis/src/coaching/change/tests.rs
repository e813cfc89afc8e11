//! Verdicts by hand-made blocks. Rates of false verdicts are simulated in the end-to-end tests.

use super::super::block::{Block, Role, Unfit};
use super::super::looks::Looks;
use super::*;

const WOBBLE: [f64; 8] = [0.3, -0.5, 0.1, 0.8, -0.2, -0.9, 0.6, -0.1];

fn block(role: Role, first: usize, level: f64) -> Block {
    Block {
        role,
        chose_focus: false,
        session: 1,
        marking: 1,
        places: (0..8).map(|n| (first + n) as f64).collect(),
        values: WOBBLE.iter().map(|v| level + v).collect(),
    }
}

fn ask(after: f64, wanted: Wanted) -> Change {
    let baseline = Baseline::of(&block(Role::Baseline, 0, 0.0)).unwrap();
    let check = Check::of(&block(Role::Check, 8, after)).unwrap();
    let question = Question {
        wanted,
        matters: 3.0,
        scope: Scope::Lesson { metrics: 3 },
    };
    let levels = Levels::new(Looks::Once { planned: 8 }, 8, question.scope.level());
    change(&baseline, &check, &question, &levels, &Allowed::default()).unwrap()
}

#[test]
fn gain_and_loss_go_by_what_is_wanted() {
    assert_eq!(ask(5.0, Wanted::Larger).verdict, Verdict::RealGain);
    assert_eq!(ask(5.0, Wanted::Smaller).verdict, Verdict::RealLoss);
    assert_eq!(ask(-5.0, Wanted::Smaller).verdict, Verdict::RealGain);
    assert_eq!(ask(5.0, Wanted::Toward(5.0)).verdict, Verdict::RealGain);
    assert_eq!(ask(5.0, Wanted::Toward(-1.0)).verdict, Verdict::RealLoss);
    assert_eq!(ask(5.0, Wanted::Toward(0.5)).verdict, Verdict::RealLoss);
    // From 0 past 2.5 to 5: as far away as before.
    let open = ask(5.0, Wanted::Toward(2.5));
    assert_eq!(
        open.verdict,
        Verdict::NotShownYet {
            more: More::PastTheAim
        }
    );
    assert!((open.shift - 5.0).abs() < 1e-12 && open.interval.holds(5.0));
}

#[test]
fn shots_still_needed_come_from_the_size_that_matters() {
    let (none, some) = (ask(0.0, Wanted::Larger), ask(0.4, Wanted::Larger));
    assert_eq!(none.verdict, some.verdict, "not from the effect just seen");
    assert!(matches!(none.verdict, Verdict::NotShownYet { .. }));
}

#[test]
fn a_block_confirms_only_in_its_role() {
    for role in [Role::Baseline, Role::Practice] {
        assert_eq!(Check::of(&block(role, 0, 0.0)), Err(Unfit::Role(role)));
    }
    assert_eq!(
        Baseline::of(&block(Role::Check, 0, 0.0)),
        Err(Unfit::Role(Role::Check))
    );
    let chose = Block {
        chose_focus: true,
        ..block(Role::Check, 0, 0.0)
    };
    assert_eq!(Check::of(&chose), Err(Unfit::ChoseTheFocus));
    let mut single = block(Role::Check, 0, 0.0);
    single.values.truncate(1);
    single.places.truncate(1);
    assert_eq!(
        Check::of(&single),
        Err(Unfit::TooFew {
            measured: 1,
            needed: 5
        })
    );
}

#[test]
fn another_marking_needs_to_be_known_and_costs() {
    let baseline = Baseline::of(&block(Role::Baseline, 0, 0.0)).unwrap();
    let check = Check::of(&Block {
        marking: 2,
        ..block(Role::Check, 8, 5.0)
    });
    let question = Question {
        wanted: Wanted::Larger,
        matters: 3.0,
        scope: Scope::Metric,
    };
    let levels = Levels::new(Looks::Once { planned: 8 }, 8, LEVEL);
    let ask = |again| {
        let allowed = Allowed {
            again,
            ..Allowed::default()
        };
        change(
            &baseline,
            check.as_ref().unwrap(),
            &question,
            &levels,
            &allowed,
        )
    };
    assert_eq!(ask(None), Err(NotCompared::AgainUnknown));
    let known = |sd| Again {
        sd,
        freedom: f64::INFINITY,
    };
    let (small, large) = (
        ask(Some(known(0.1))).unwrap(),
        ask(Some(known(3.0))).unwrap(),
    );
    assert_eq!(small.verdict, Verdict::RealGain);
    assert_eq!(
        large.verdict,
        Verdict::NotShownYet {
            more: More::OtherMeans
        }
    );
    // 1.96 √2 SEM is what days alone make detectable.
    assert!(large.detectable > 1.96 * 2.0_f64.sqrt() * 3.0);
}
