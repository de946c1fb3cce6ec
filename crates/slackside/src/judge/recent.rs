//! Counting within a rolling window: the moments at which counted things leave it, oldest first. More than there is room for count
//! as many as there is room for.

/// Count one that leaves at `end`, no sooner than those before it.
#[inline(never)]
pub fn push<End: Copy>(ends: &mut [End], count: &mut u8, end: End) {
    if usize::from(*count) >= ends.len() {
        drop_first(ends, count);
    }
    if let Some(slot) = ends.get_mut(usize::from(*count)) {
        *slot = end;
        *count = count.saturating_add(1);
    }
}

fn drop_first<End: Copy>(ends: &mut [End], count: &mut u8) {
    *count = count.saturating_sub(1);
    let mut rest: &mut [End] = ends;
    while let [first, second, ..] = rest {
        *first = *second;
        rest = match rest {
            [_, more @ ..] => more,
            [] => &mut [],
        };
    }
}

/// Forget what has left.
pub fn settle<End: Copy>(ends: &mut [End], count: &mut u8, has_left: impl Fn(End) -> bool) {
    for _ in 0..*count {
        match ends.first() {
            Some(end) if has_left(*end) => drop_first(ends, count),
            _ => return,
        }
    }
}

/// When the one leaves that came so many before the newest.
pub fn before_newest(ends: &[u32], count: u8, by: u8) -> Option<u32> {
    ends.get(usize::from(count.checked_sub(by)?.checked_sub(1)?)).copied()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_leaves_is_forgotten_at_its_own_time() {
        let (mut ends, mut count) = ([0; 3], 0);
        for end in [10, 20, 30, 40] {
            push(&mut ends, &mut count, end);
        }
        assert_eq!((count, ends), (3, [20, 30, 40]));
        assert_eq!(before_newest(&ends, count, 1), Some(30));
        assert_eq!(before_newest(&ends, count, 3), None);
        settle(&mut ends, &mut count, |end| end <= 29);
        assert_eq!(count, 2);
        settle(&mut ends, &mut count, |end| end <= 40);
        assert_eq!(count, 0);
        // All of them at once too.
        for end in [10, 20, 30] {
            push(&mut ends, &mut count, end);
        }
        settle(&mut ends, &mut count, |_| true);
        assert_eq!(count, 0);
    }

    #[test]
    fn the_oldest_leaves_first_and_one_at_a_time() {
        let (mut ends, mut count) = ([0; 4], 0);
        for end in [10, 20, 30] {
            push(&mut ends, &mut count, end);
        }
        assert_eq!((count, before_newest(&ends, count, 0), before_newest(&ends, count, 2)), (3, Some(30), Some(10)));
        settle(&mut ends, &mut count, |end| end <= 9);
        assert_eq!(count, 3);
        settle(&mut ends, &mut count, |end| end <= 10);
        assert_eq!((count, ends[0], ends[1]), (2, 20, 30));
        settle(&mut ends, &mut count, |_| true);
        assert_eq!(count, 0);
        // Of none left, what lies in memory counts no more.
        settle(&mut ends, &mut count, |_| true);
        assert_eq!((count, before_newest(&ends, count, 0)), (0, None));
    }
}
