//! A small chart of a glucose curve in plain characters, at most 80 columns wide.

use crate::domain::local::Zone;
use crate::domain::reading::Reading;
use crate::domain::time::Timestamp;
use std::ops::RangeInclusive;

/// Columns of the curve; with the scale before it a row has 78.
const COLUMNS: usize = 72;

/// mg/dL at the middle of each row, from the top.
const ROWS: [i32; 13] = [290, 270, 250, 230, 210, 190, 170, 150, 130, 110, 90, 70, 50];

/// Draws readings within a time; limits are dotted lines, and what was treated stands below as T.
#[expect(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "a share of the columns lies between 0 and their number"
)]
#[expect(clippy::cast_precision_loss, reason = "a day in milliseconds is far below 2^53")]
pub(super) fn draw(
    readings: &[Reading],
    treated: &[Timestamp],
    time: RangeInclusive<Timestamp>,
    zone: Zone,
    limits: [i32; 2],
) -> Vec<String> {
    let (from, to) = (*time.start(), *time.end());
    let span = ((to - from).as_millis() as f64).max(1.0);
    let column = |at: Timestamp| {
        ((((at - from).as_millis() as f64) / span) * (COLUMNS - 1) as f64).round().clamp(0.0, (COLUMNS - 1) as f64)
            as usize
    };
    let mut grid = vec![[' '; COLUMNS]; ROWS.len()];
    for limit in limits {
        grid[row_of(limit)] = ['.'; COLUMNS];
    }
    for reading in readings.iter().filter(|reading| time.contains(&reading.measured)) {
        grid[row_of(reading.glucose.hundredths() / 100)][column(reading.measured)] = 'o';
    }
    let mut lines: Vec<String> = ROWS
        .iter()
        .zip(&grid)
        .map(|(value, row)| {
            let row: String = row.iter().collect();
            format!("{value:>4} |{row}")
        })
        .collect();
    let mut marks = [' '; COLUMNS];
    for at in treated {
        marks[column(*at)] = 'T';
    }
    lines.push(format!("      {}", marks.iter().collect::<String>()));
    let mut scale = [' '; COLUMNS + 6];
    for quarter in 0..=4 {
        let at = from + (to - from).times(quarter, 4);
        let text = zone.clock(at);
        let start = (6 + column(at)).saturating_sub(if quarter == 0 { 0 } else { text.len() });
        for (place, letter) in text.chars().enumerate() {
            if let Some(cell) = scale.get_mut(start + place) {
                *cell = letter;
            }
        }
    }
    lines.push(scale.iter().collect());
    lines
}

fn row_of(mg_dl: i32) -> usize {
    let nearest = ROWS.iter().enumerate().min_by_key(|(_, middle)| (*middle - mg_dl).abs());
    nearest.map_or(0, |(row, _)| row)
}
