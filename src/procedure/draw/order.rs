//! Orders the items within each layer so that few arrows cross. Labels and the bends of long arrows are items too.

/// An item in a layer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Item {
    /// A box, by its index in the chart.
    Box(usize),
    /// The words of an arrow.
    Words(usize),
    /// A bend of an arrow.
    Bend(usize),
}

/// Rounds of sorting. The best order of all rounds is kept. More rounds changed nothing in the shipped procedures.
const ROUNDS: usize = 12;

/// Sorts each layer. `links` are pairs of items in adjacent layers, upper item first. Items are numbered by their index in `layers_of`.
pub(super) fn ordered(layers: &mut [Vec<usize>], links: &[(usize, usize)], items: usize) {
    let mut above = vec![Vec::new(); items];
    let mut below = vec![Vec::new(); items];
    for (upper, lower) in links {
        above[*lower].push(*upper);
        below[*upper].push(*lower);
    }
    let mut at = vec![0usize; items];
    let note = |layers: &[Vec<usize>], at: &mut Vec<usize>| {
        for layer in layers {
            for (place, item) in layer.iter().enumerate() {
                at[*item] = place;
            }
        }
    };
    note(layers, &mut at);
    let mut best = (crossings(layers, &below, &at), layers.to_vec());
    for round in 0..ROUNDS {
        let down = round % 2 == 0;
        let near = if down { &above } else { &below };
        let count = layers.len();
        for step in 0..count {
            let layer = &mut layers[if down { step } else { count - 1 - step }];
            let middle = |item: &usize| -> f64 {
                let of = &near[*item];
                match of.len() {
                    0 => at[*item] as f64,
                    n => of.iter().map(|i| at[*i] as f64).sum::<f64>() / n as f64,
                }
            };
            let mut keyed: Vec<(f64, usize)> = layer.iter().map(|item| (middle(item), *item)).collect();
            keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
            *layer = keyed.into_iter().map(|(_, item)| item).collect();
            for (place, item) in layer.iter().enumerate() {
                at[*item] = place;
            }
        }
        let crossed = crossings(layers, &below, &at);
        if crossed < best.0 {
            best = (crossed, layers.to_vec());
        }
    }
    layers.clone_from_slice(&best.1);
}

fn crossings(layers: &[Vec<usize>], below: &[Vec<usize>], at: &[usize]) -> usize {
    let mut crossed = 0;
    for layer in layers {
        let mut ends: Vec<usize> = Vec::new();
        for item in layer {
            let mut own: Vec<usize> = below[*item].iter().map(|i| at[*i]).collect();
            own.sort_unstable();
            crossed += own.iter().map(|end| ends.iter().filter(|other| *other > end).count()).sum::<usize>();
            ends.extend(own);
        }
    }
    crossed
}
