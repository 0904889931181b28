//! Which notes go to which channel: a pitch bend moves all of a channel, and a channel cannot hold one pitch twice.

use super::{Lane, Motion, Strike};
use lesson::Kind;

/// Channel 10, counted from 0.
pub(super) const DRUMS: u8 = 9;

/// The lanes of every part. A part's first lane is its own channel; further ones are taken from what the parts leave over. Parts past the
/// fifteenth share.
pub(super) fn assign(kinds: &[Kind], parts: Vec<Vec<Strike>>) -> Vec<Vec<Lane>> {
    let mut free: Vec<u8> = (0..16).filter(|c| *c != DRUMS).collect();
    let mut out: Vec<Vec<Lane>> = Vec::new();
    for (i, kind) in kinds.iter().enumerate() {
        let channel = if matches!(kind, Kind::Drums | Kind::Click) {
            DRUMS
        } else if free.is_empty() {
            [0, 1, 2, 3, 4, 5, 6, 7, 8, 10, 11, 12, 13, 14, 15][i % 15]
        } else {
            free.remove(0)
        };
        out.push(vec![Lane { channel, strikes: vec![] }]);
    }
    for (lanes, strikes) in out.iter_mut().zip(parts) {
        for strike in strikes {
            place(lanes, strike, &mut free);
        }
    }
    out
}

fn place(lanes: &mut Vec<Lane>, mut strike: Strike, free: &mut Vec<u8>) {
    let fits = |lane: &Lane, s: &Strike| sounding(lane, s.on).all(|old| agree(old, s));
    let drums = lanes[0].channel == DRUMS;
    let i = match lanes.iter().position(|l| fits(l, &strike)) {
        Some(i) => i,
        None if !drums && !free.is_empty() => {
            lanes.push(Lane { channel: free.remove(0), strikes: vec![] });
            lanes.len() - 1
        }
        None => {
            strike.motion = Motion::Level;
            // Where the fewest others move; those are held level, too, or they would bend this note along.
            let moving = |l: &Lane| sounding(l, strike.on).filter(|s| s.motion != Motion::Level).count();
            (0..lanes.len()).min_by_key(|i| (!fits(&lanes[*i], &strike), moving(&lanes[*i]))).unwrap_or(0)
        }
    };
    let lane = &mut lanes[i];
    if strike.motion == Motion::Level {
        lane.strikes.iter_mut().filter(|s| s.off > strike.on).for_each(|s| s.motion = Motion::Level);
    }
    let mut double = false;
    for old in lane.strikes.iter_mut().filter(|s| s.off > strike.on && s.key == strike.key) {
        if old.on < strike.on {
            old.off = strike.on;
        } else {
            old.off = old.off.max(strike.off);
            double = true;
        }
    }
    if !double {
        lane.strikes.push(strike);
    }
}

/// Notes of a lane that still sound at a tick.
fn sounding(lane: &Lane, at: i64) -> impl Iterator<Item = &Strike> {
    lane.strikes.iter().filter(move |s| s.off > at)
}

/// Whether two notes that sound at once can share a channel: unlike keys, and all that moves one moves the other.
fn agree(old: &Strike, new: &Strike) -> bool {
    old.key != new.key
        && old.motion == new.motion
        && (old.motion == Motion::Level || (old.on, old.off) == (new.on, new.off))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strike(on: i64, off: i64, key: u8, motion: Motion) -> Strike {
        Strike { on, off, key, velocity: 80, motion }
    }

    fn bend() -> Motion {
        Motion::Course(vec![(0, 0.0), (10, 200.0)])
    }

    #[test]
    fn what_moves_alone_gets_its_own_channel() {
        let strikes = vec![strike(0, 9, 60, Motion::Level), strike(0, 9, 64, bend()), strike(0, 9, 67, bend()), strike(9, 12, 67, bend())];
        let lanes = assign(&[Kind::Drums, Kind::Guitar, Kind::Guitar], vec![vec![], strikes, vec![]]).remove(1);
        let seen: Vec<_> = lanes.iter().map(|l| (l.channel, l.strikes.iter().map(|s| s.key).collect::<Vec<_>>())).collect();
        // The two that bend alike share; the later one is alone by then and comes back. Channel 2 is the third part's.
        assert_eq!(seen, [(0, vec![60, 67]), (2, vec![64, 67])]);
    }

    #[test]
    fn one_pitch_twice() {
        let twice = || vec![strike(0, 10, 60, Motion::Level), strike(4, 10, 60, Motion::Level), strike(4, 12, 60, Motion::Level)];
        let lanes = assign(&[Kind::Guitar], vec![twice()]).remove(0);
        assert_eq!(lanes.iter().map(|l| l.strikes.len()).collect::<Vec<_>>(), [1, 1, 1]);
        // On the drums there is one channel: the first is cut, the doubled one is one.
        let drums = assign(&[Kind::Drums], vec![twice()]).remove(0);
        assert_eq!(drums.len(), 1);
        assert_eq!(drums[0].strikes.iter().map(|s| (s.on, s.off)).collect::<Vec<_>>(), [(0, 4), (4, 12)]);
    }

    #[test]
    fn a_level_note_is_not_bent_along_where_no_channel_is_spare() {
        let kinds = vec![Kind::Guitar; 15];
        let mut parts = vec![vec![]; 15];
        parts[3] = vec![strike(0, 9, 60, bend()), strike(4, 9, 64, Motion::Level)];
        let lanes = assign(&kinds, parts).remove(3);
        assert_eq!(lanes.len(), 1);
        assert!(lanes[0].strikes.len() == 2 && lanes[0].strikes.iter().all(|s| s.motion == Motion::Level));
    }

    #[test]
    fn many_parts() {
        let kinds = vec![Kind::Guitar; 20];
        let lanes = assign(&kinds, vec![vec![strike(0, 4, 60, Motion::Level), strike(0, 4, 62, bend())]; 20]);
        assert!(lanes.iter().flatten().all(|l| l.channel < 16 && l.channel != DRUMS));
        // No channel is spare: the bend is left out, the note is not.
        assert!(lanes.iter().all(|l| l.len() == 1 && l[0].strikes.iter().all(|s| s.motion == Motion::Level) && l[0].strikes.len() == 2));
    }
}
