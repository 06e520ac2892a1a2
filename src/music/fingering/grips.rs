//! The ways to hold one note or chord: strings, frets, fingers, and where the hand is.

use arrayvec::ArrayVec;

use super::costs::Prices;
use super::reach::FRAME_FRETS;
use super::wanted::{Group, Wanted};
use crate::music::expected::Place;
use crate::music::instrument::Instrument;

/// Most notes of a group that are fingered; a line has no larger chords.
pub(super) const MAX_NOTES: usize = 3;

/// Most ways to hold one chord that are looked at, the cheapest in themselves. Single notes never
/// have as many. Raising it looks at chords more finely, with the square of its time.
const MAX_CHORD_GRIPS: usize = 64;

/// One note held.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Held {
    pub place: Place,
    /// 1 to 4; 0 for an open string.
    pub finger: u8,
    /// True when finger 1 or 4 lies one fret outside of the hand's four.
    pub stretched: bool,
}

/// A way to hold a group.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Grip {
    pub held: ArrayVec<Held, MAX_NOTES>,
    /// The fret where finger 1 lies, or would lie; 0 while nothing has been fretted yet.
    pub hand: u8,
    /// False when only open strings sound: the hand is where it was.
    pub needs_hand: bool,
    /// What it costs in itself, in thousandths.
    pub own: i64,
}

impl Grip {
    /// The lowest note, by which a chord joins the next.
    pub fn lead(&self) -> Held {
        self.held[0]
    }

    /// True when an open string sounds in it.
    pub fn has_open(&self) -> bool {
        self.held.iter().any(|held| held.place.fret == 0)
    }
}

/// A finger at a fret, seen from the hand.
#[derive(Clone, Copy)]
struct Reach {
    finger: u8,
    /// Frets from the hand's first to this one.
    offset: i8,
    /// Finger 1 or 4 outside of the frame.
    stretched: bool,
    at: Where,
}

/// Where on the neck a reach is used.
#[derive(Clone, Copy, PartialEq)]
enum Where {
    Everywhere,
    /// Only where the hand is fingered 1-2-4.
    Low,
    /// Only where a finger lies at each of four frets: lower down the fourth fret is the stretch,
    /// and a fifth is out of reach.
    High,
}

impl Reach {
    fn is_used(self, hand: u8, prices: &Prices<'_>) -> bool {
        match self.at {
            Where::Everywhere => true,
            Where::Low => prices.hand().is_low(hand),
            Where::High => !prices.hand().is_low(hand),
        }
    }
}

const fn reach(finger: u8, offset: i8, stretched: bool, at: Where) -> Reach {
    Reach {
        finger,
        offset,
        stretched,
        at,
    }
}

/// Where the fingers may lie: finger *i* at the hand's fret plus *i* - 1, fingers 1 and 4 one
/// further out; in 1-2-4 also finger 4 where finger 3 would be. Common practice, no source.
const REACHES: [Reach; 7] = [
    reach(1, 0, false, Where::Everywhere),
    reach(2, 1, false, Where::Everywhere),
    reach(3, 2, false, Where::Everywhere),
    reach(4, 3, false, Where::Everywhere),
    reach(4, 2, false, Where::Low),
    reach(1, -1, true, Where::High),
    reach(4, 4, true, Where::High),
];

/// All ways to give the notes of a group strings of their own. Given places are kept, those that
/// do not give the pitch on this instrument count as not given. Chords wider than a hand (one
/// fret beyond the frame) are left out where there are closer ones. Empty when it cannot be played.
pub(super) fn chord_places(notes: &[Wanted], instrument: &Instrument) -> Vec<Vec<Place>> {
    let mut ways: Vec<Vec<Place>> = vec![Vec::new()];
    for note in notes.iter().take(MAX_NOTES) {
        let places = match given(note, instrument) {
            Some(place) => vec![place],
            None => instrument.places(note.midi),
        };
        let mut longer = Vec::with_capacity(ways.len() * places.len());
        for way in &ways {
            for &place in &places {
                if way.iter().all(|taken| taken.string != place.string) {
                    longer.push([way.as_slice(), &[place]].concat());
                }
            }
        }
        ways = longer;
    }
    let narrowest = ways.iter().map(|way| spread(way)).min().unwrap_or(0);
    ways.retain(|way| spread(way) <= narrowest.max(FRAME_FRETS));
    ways
}

/// The place the line gives, where it gives the pitch.
fn given(note: &Wanted, instrument: &Instrument) -> Option<Place> {
    note.place
        .filter(|&place| instrument.midi_at(place) == Some(note.midi))
}

fn fretted(places: &[Place]) -> impl Iterator<Item = u8> + Clone {
    places
        .iter()
        .map(|place| place.fret)
        .filter(|&fret| fret > 0)
}

/// Frets from the lowest to the highest stopped one.
fn spread(places: &[Place]) -> u8 {
    let frets = fretted(places);
    frets.clone().max().unwrap_or(0) - frets.min().unwrap_or(0)
}

/// All ways to hold `group`, in a fixed order (thicker string first, then the lower hand).
///
/// `hands_before`: where the hand may be before it, for groups of open strings alone.
pub(super) fn grips(group: &Group, prices: &Prices<'_>, hands_before: &[u8]) -> Vec<Grip> {
    let instrument = prices.instrument();
    let mut found = Vec::new();
    for places in chord_places(&group.notes, instrument) {
        if fretted(&places).next().is_none() {
            let held = held_open(&places);
            found.extend(hands_before.iter().map(|&hand| Grip {
                held: held.clone(),
                hand,
                needs_hand: false,
                own: 0,
            }));
            continue;
        }
        let fingers: ArrayVec<Option<u8>, MAX_NOTES> = group
            .notes
            .iter()
            .zip(&places)
            .map(|(note, place)| {
                let kept = given(note, instrument).is_some() && place.fret > 0;
                note.finger
                    .filter(|finger| kept && (1..=4).contains(finger))
            })
            .collect();
        let before = found.len();
        for hand in hands(&places, &fingers, prices) {
            hold(&places, &fingers, hand, prices, &mut found);
        }
        if found.len() == before {
            found.push(wide(&places, &fingers));
        }
    }
    for grip in &mut found {
        grip.own = prices.own(grip);
    }
    if group.notes.len() > 1 && found.len() > MAX_CHORD_GRIPS {
        found.sort_by_key(|grip| grip.own);
        found.truncate(MAX_CHORD_GRIPS);
    }
    found
}

fn held_open(places: &[Place]) -> ArrayVec<Held, MAX_NOTES> {
    places
        .iter()
        .map(|&place| Held {
            place,
            finger: 0,
            stretched: false,
        })
        .collect()
}

/// The fret of finger 1 for a finger at a fret; the hand goes no lower than the first fret.
fn hand_for(fret: u8, reach: Reach) -> Option<u8> {
    let hand = i16::from(fret) - i16::from(reach.offset);
    u8::try_from(hand).ok().filter(|&hand| hand > 0)
}

/// Where the hand may be for these places, from the lowest up.
fn hands(places: &[Place], fingers: &[Option<u8>], prices: &Prices<'_>) -> ArrayVec<u8, 24> {
    let pinned = fingers.iter().any(Option::is_some);
    let mut hands: ArrayVec<u8, 24> = ArrayVec::new();
    let mut add = |hand: u8| {
        if hand <= prices.instrument().frets() && !hands.contains(&hand) && !hands.is_full() {
            hands.push(hand);
        }
    };
    for (place, finger) in places.iter().zip(fingers) {
        if place.fret == 0 || (pinned && finger.is_none()) {
            continue;
        }
        let before = REACHES.iter().filter(|reach| match finger {
            Some(finger) => reach.finger == *finger,
            None => true,
        });
        for reach in before {
            match hand_for(place.fret, *reach) {
                Some(hand) if reach.is_used(hand, prices) => add(hand),
                _ => {}
            }
        }
        if let Some(finger) = finger {
            // A finger too high for its fret, at the nut: the hand lies at the first fret.
            add((place.fret + 1).saturating_sub(*finger).max(1));
        }
    }
    hands.sort_unstable();
    hands
}

/// Adds every way to hold `places` with the hand at `hand`.
fn hold(
    places: &[Place],
    fingers: &[Option<u8>],
    hand: u8,
    prices: &Prices<'_>,
    found: &mut Vec<Grip>,
) {
    let mut ways: ArrayVec<ArrayVec<Held, MAX_NOTES>, 64> = ArrayVec::new();
    ways.push(ArrayVec::new());
    for (&place, &finger) in places.iter().zip(fingers) {
        let choices = choices(place, finger, hand, prices);
        let mut longer: ArrayVec<ArrayVec<Held, MAX_NOTES>, 64> = ArrayVec::new();
        for way in &ways {
            for &held in &choices {
                let pinned = finger.is_some();
                if (pinned || way.iter().all(|other| go_together(*other, held)))
                    && !longer.is_full()
                {
                    let mut way = way.clone();
                    way.push(held);
                    longer.push(way);
                }
            }
        }
        ways = longer;
    }
    found.extend(ways.into_iter().map(|held| Grip {
        held,
        hand,
        needs_hand: true,
        own: 0,
    }));
}

/// How one note can be held with the hand at `hand`.
fn choices(
    place: Place,
    finger: Option<u8>,
    hand: u8,
    prices: &Prices<'_>,
) -> ArrayVec<Held, { REACHES.len() }> {
    let mut list = ArrayVec::new();
    if place.fret == 0 {
        list.push(Held {
            place,
            finger: 0,
            stretched: false,
        });
        return list;
    }
    for reach in REACHES {
        let lies = i16::from(hand) + i16::from(reach.offset) == i16::from(place.fret);
        if lies && reach.is_used(hand, prices) && finger.is_none_or(|finger| finger == reach.finger)
        {
            list.push(Held {
                place,
                finger: reach.finger,
                stretched: reach.stretched,
            });
        }
    }
    if let (true, Some(finger)) = (list.is_empty(), finger) {
        // Given by the line, however far it is.
        list.push(Held {
            place,
            finger,
            stretched: false,
        });
    }
    list
}

/// Whether two fingers can lie so at once: the higher fret takes the higher finger, one fret one
/// finger laid flat.
fn go_together(a: Held, b: Held) -> bool {
    if a.finger == 0 || b.finger == 0 {
        return true;
    }
    match a.place.fret.cmp(&b.place.fret) {
        std::cmp::Ordering::Less => a.finger < b.finger,
        std::cmp::Ordering::Equal => a.finger == b.finger,
        std::cmp::Ordering::Greater => a.finger > b.finger,
    }
}

/// A chord wider than any hand: finger 1 on its lowest fret, 4 on its highest, 2 between.
fn wide(places: &[Place], fingers: &[Option<u8>]) -> Grip {
    let lowest = fretted(places).min().unwrap_or(1);
    let highest = fretted(places).max().unwrap_or(lowest);
    let held = places
        .iter()
        .zip(fingers)
        .map(|(&place, finger)| Held {
            place,
            finger: match (place.fret, finger) {
                (0, _) => 0,
                (_, Some(finger)) => *finger,
                (fret, None) if fret == lowest => 1,
                (fret, None) if fret == highest => 4,
                _ => 2,
            },
            stretched: false,
        })
        .collect();
    Grip {
        held,
        hand: lowest,
        needs_hand: true,
        own: 0,
    }
}
