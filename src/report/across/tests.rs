//! Pages of hand-built takes held against each other.

use super::{Across, AcrossSettings, json, page};
use crate::compare::across::across;
use crate::compare::judgement::Judgement;
use crate::report::{sample, sample_practice};
use crate::session::result::TakeResult;

fn held(takes: Vec<TakeResult>, before: usize) -> Across {
    let judgements: Vec<&Judgement> = takes.iter().map(|take| &take.judgement).collect();
    let comparison = across(&judgements, before);
    Across {
        takes,
        before,
        comparison,
    }
}

fn all() -> [Across; 4] {
    [
        held(vec![sample::flawed(), sample::clean()], 1),
        held(vec![sample::clean(), sample::flawed()], 1),
        held(vec![sample::flawed(), sample::flawed(), sample::clean()], 2),
        held(vec![sample_practice::practice()], 3),
    ]
}

/// Golden: our own earlier output. It detects change and proves nothing.
#[test]
fn golden_comparison_is_unchanged() {
    let settings = AcrossSettings {
        columns: 80,
        ..AcrossSettings::default()
    };
    let pages: Vec<String> = all().iter().map(|across| page(across, &settings)).collect();
    sample::check_golden("across.txt", &pages.join("\n"));
    sample::check_golden("across.json", &json::object(&all()[0]));
}

/// A page is 24 rows at most where not everything is asked for, and no wider than its columns.
#[test]
fn the_page_is_short_and_as_wide_as_asked() {
    for across in all() {
        for columns in [0, 40, 80, 1000] {
            for all in [false, true] {
                let settings = AcrossSettings {
                    columns,
                    all,
                    colour: false,
                };
                let text = page(&across, &settings);
                let widest = text.lines().map(|line| line.chars().count()).max();
                assert!(widest <= Some(columns.clamp(40, 200)), "{columns}\n{text}");
                if columns == 80 && !all {
                    assert!(text.lines().count() <= 24, "{text}");
                }
            }
        }
    }
}
