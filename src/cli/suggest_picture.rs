//! The trade-off as a picture in plain characters, at most 80 columns wide: rings a day across, time above the limits
//! of which nobody was told upwards.

use crate::replay::suggest::Outcome;

const COLUMNS: usize = 60;
const ROWS: usize = 12;

/// Every choice a dot, the settings in use `N`, those that are shown by their letters.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    clippy::cast_precision_loss,
    reason = "a share of the columns lies between 0 and their number"
)]
pub(super) fn draw(now: &Outcome, all: &[Outcome], shown: &[(char, Outcome)]) -> Vec<String> {
    let place = |outcome: &Outcome| (outcome.first.rings_per_day, outcome.first.untold());
    let most = all.iter().chain([now]).map(place).fold((0.0_f64, 0.0_f64), |(x, y), (a, b)| (x.max(a), y.max(b)));
    let most = (most.0.max(0.1), most.1.max(1.0));
    let mut grid = vec![[' '; COLUMNS]; ROWS];
    let mut put = |outcome: &Outcome, letter: char| {
        let (x, y) = place(outcome);
        let column = (x / most.0 * (COLUMNS - 1) as f64).round().clamp(0.0, (COLUMNS - 1) as f64) as usize;
        let row = (y / most.1 * (ROWS - 1) as f64).round().clamp(0.0, (ROWS - 1) as f64) as usize;
        grid[ROWS - 1 - row][column] = letter;
    };
    for outcome in all {
        put(outcome, '.');
    }
    for (letter, outcome) in shown {
        put(outcome, *letter);
    }
    put(now, 'N');
    let mut lines = vec!["min/day above the limits without a word".to_owned()];
    for (row, cells) in grid.iter().enumerate() {
        let scale = match row {
            0 => format!("{:>6.0}", most.1),
            last if last == ROWS - 1 => format!("{:>6}", 0),
            _ => " ".repeat(6),
        };
        lines.push(format!("{scale} |{}", cells.iter().collect::<String>()).trim_end().to_owned());
    }
    lines.push(format!("{}+{}", " ".repeat(7), "-".repeat(COLUMNS)));
    let end = format!("{:.1} rings a day", most.0);
    lines.push(format!("{}0{end:>width$}", " ".repeat(8), width = COLUMNS - 1));
    lines.push("N: now; letters: the choices above; dots: others that were tried".to_owned());
    lines
}
