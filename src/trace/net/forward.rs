//! Runs a network on a picture: convolutions, sums, doublings, in 32-bit floats on one core.

use super::weights::{Conv, Net, Step};
use nalgebra::{Const, DMatrix, DMatrixView, Dyn, MatrixView};

/// Numbers by channel, row and column.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Value {
    pub channels: usize,
    pub height: usize,
    pub width: usize,
    pub numbers: Vec<f32>,
}

impl Value {
    pub fn new(channels: usize, height: usize, width: usize) -> Value {
        Value { channels, height, width, numbers: vec![0.0; channels * height * width] }
    }

    fn plane(&self, channel: usize) -> &[f32] {
        let n = self.height * self.width;
        &self.numbers[channel * n..(channel + 1) * n]
    }
}

/// The last value; the picture's sides must be multiples of what the network asks for.
pub(super) fn run(net: &Net, picture: Value) -> Value {
    let count = net.steps.len();
    // A value is dropped after the last step that needs it.
    let mut last = vec![0; count + 1];
    for (i, step) in net.steps.iter().enumerate() {
        match step {
            Step::Conv(c) => last[c.from] = i,
            Step::Double(a) => last[*a] = i,
            Step::Add(a, b) => {
                last[*a] = i;
                last[*b] = i;
            }
        }
    }
    let mut values: Vec<Value> = vec![picture];
    for (i, step) in net.steps.iter().enumerate() {
        let next = match step {
            Step::Conv(c) if c.single => single(c, &values[c.from]),
            Step::Conv(c) => dense(c, &values[c.from]),
            Step::Add(a, b) => add(&values[*a], &values[*b]),
            Step::Double(a) => double(&values[*a]),
        };
        for (value, last) in values.iter_mut().zip(&last) {
            if *last == i {
                *value = Value::default();
            }
        }
        values.push(next);
    }
    values.pop().unwrap_or_default()
}

fn add(a: &Value, b: &Value) -> Value {
    let mut out = a.clone();
    for (a, b) in out.numbers.iter_mut().zip(&b.numbers) {
        *a += b;
    }
    out
}

fn double(a: &Value) -> Value {
    let mut numbers = Vec::with_capacity(4 * a.numbers.len());
    for row in a.numbers.chunks_exact(a.width) {
        for _ in 0..2 {
            numbers.extend(row.iter().flat_map(|&v| [v, v]));
        }
    }
    Value { channels: a.channels, height: 2 * a.height, width: 2 * a.width, numbers }
}

/// One channel with noughts around it, apart by column modulo the step, so that what a row of
/// windows sees at one place of the window lies side by side.
struct Padded {
    numbers: Vec<f32>,
    width: usize,
    height: usize,
    step: usize,
}

impl Padded {
    fn new(c: &Conv, from: &Value) -> Padded {
        let width = (from.width + c.size - 1).div_ceil(c.step);
        let height = from.height + c.size - 1;
        Padded { numbers: vec![0.0; c.step * width * height], width, height, step: c.step }
    }

    fn take(&mut self, plane: &[f32], wide: usize, reach: usize) {
        for (y, row) in plane.chunks_exact(wide).enumerate() {
            for part in 0..self.step {
                // Columns of the plane that come to lie in this part: (x + reach) % step == part.
                let first = (part + self.step * reach - reach) % self.step;
                let at = (part * self.height + y + reach) * self.width;
                let to = &mut self.numbers[at + (first + reach) / self.step..at + self.width];
                to.iter_mut()
                    .zip(row[first.min(wide)..].iter().step_by(self.step))
                    .for_each(|(to, v)| *to = *v);
            }
        }
    }

    /// What the windows of row `y` from column `x` on see at row `dy`, column `dx` of the window.
    fn seen(&self, y: usize, x: usize, dy: usize, dx: usize) -> &[f32] {
        let row = dx % self.step * self.height + y * self.step + dy;
        &self.numbers[row * self.width + x + dx / self.step..(row + 1) * self.width]
    }
}

/// Pixels that stay in registers while a window goes over them.
const RUN: usize = 32;

/// Every channel by itself.
fn single(c: &Conv, from: &Value) -> Value {
    let mut out = Value::new(from.channels, from.height / c.step, from.width / c.step);
    let mut padded = Padded::new(c, from);
    let least = if c.relu { 0.0 } else { f32::NEG_INFINITY };
    let (height, width) = (out.height, out.width);
    for (channel, plane) in out.numbers.chunks_exact_mut(height * width).enumerate() {
        padded.take(from.plane(channel), from.width, c.size / 2);
        let weight = &c.weight[channel * c.size * c.size..(channel + 1) * c.size * c.size];
        for (y, row) in plane.chunks_exact_mut(width).enumerate() {
            for (k, to) in row.chunks_mut(RUN).enumerate() {
                let mut sums = [c.bias[channel]; RUN];
                for (i, &w) in weight.iter().enumerate() {
                    let seen = padded.seen(y, k * RUN, i / c.size, i % c.size);
                    if let Some(seen) = seen.first_chunk::<RUN>() {
                        sums.iter_mut().zip(seen).for_each(|(o, v)| *o += w * v);
                    } else {
                        sums.iter_mut().zip(seen).for_each(|(o, v)| *o += w * v);
                    }
                }
                to.iter_mut().zip(sums).for_each(|(to, sum)| *to = sum.max(least));
            }
        }
    }
    out
}

/// Pixels that are worked out together.
const TILE: usize = 512;

/// All channels into all: what a tile of pixels sees is laid side by side, then multiplied.
fn dense(c: &Conv, from: &Value) -> Value {
    let channels = c.bias.len();
    let mut out = Value::new(channels, from.height / c.step, from.width / c.step);
    let deep = c.channels * c.size * c.size;
    // By channel out as written is by channel in from column to column.
    let weights = DMatrixView::from_slice(&c.weight, deep, channels);
    let pixels = out.height * out.width;
    let by_itself = c.size == 1 && c.step == 1;
    let padded: Vec<Padded> = (0..if by_itself { 0 } else { c.channels })
        .map(|channel| {
            let mut padded = Padded::new(c, from);
            padded.take(from.plane(channel), from.width, c.size / 2);
            padded
        })
        .collect();
    let mut seen = vec![0.0_f32; if by_itself { 0 } else { deep * TILE }];
    let mut sums = DMatrix::<f32>::zeros(TILE, channels);
    let least = if c.relu { 0.0 } else { f32::NEG_INFINITY };
    for start in (0..pixels).step_by(TILE) {
        let count = TILE.min(pixels - start);
        let mut sums = sums.rows_mut(0, count);
        if by_itself {
            let windows = MatrixView::from_slice_with_strides_generic(
                &from.numbers[start..],
                Dyn(count),
                Dyn(deep),
                Const::<1>,
                Dyn(pixels),
            );
            sums.gemm(1.0, &windows, &weights, 0.0);
        } else {
            for (k, row) in seen.chunks_exact_mut(count).take(deep).enumerate() {
                let padded = &padded[k / (c.size * c.size)];
                let (dy, dx) = (k / c.size % c.size, k % c.size);
                let mut i = 0;
                while i < count {
                    let (y, x) = ((start + i) / out.width, (start + i) % out.width);
                    let n = (out.width - x).min(count - i);
                    row[i..i + n].copy_from_slice(&padded.seen(y, x, dy, dx)[..n]);
                    i += n;
                }
            }
            let windows = DMatrixView::from_slice(&seen[..deep * count], count, deep);
            sums.gemm(1.0, &windows, &weights, 0.0);
        }
        for (o, sums) in sums.column_iter().enumerate() {
            let to = &mut out.numbers[o * pixels + start..o * pixels + start + count];
            for (to, sum) in to.iter_mut().zip(sums.iter()) {
                *to = (sum + c.bias[o]).max(least);
            }
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn value(channels: usize, height: usize, width: usize, numbers: &[f32]) -> Value {
        Value { channels, height, width, numbers: numbers.to_vec() }
    }

    fn conv(
        channels: usize,
        size: usize,
        step: usize,
        single: bool,
        relu: bool,
        weight: &[f32],
        bias: &[f32],
    ) -> Conv {
        Conv {
            from: 0,
            channels,
            size,
            step,
            single,
            relu,
            weight: weight.to_vec(),
            bias: bias.to_vec(),
        }
    }

    // Worked out by hand: the picture 1 2 3 / 4 5 6 / 7 8 9 with nought around it.
    const NINE: [f32; 9] = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0];

    #[test]
    fn a_window_of_ones_sums_the_neighbours() {
        let sums = [12.0, 21.0, 16.0, 27.0, 45.0, 33.0, 24.0, 39.0, 28.0];
        for single_channel in [false, true] {
            let c = conv(1, 3, 1, single_channel, false, &[1.0; 9], &[0.0]);
            let run = if single_channel { single } else { dense };
            assert_eq!(run(&c, &value(1, 3, 3, &NINE)).numbers, sums);
        }
    }

    #[test]
    fn a_window_is_not_turned_over_and_negative_sums_are_cut() {
        // The pixel to the right less the pixel itself, less 1: 0 0 -4 / 0 0 -7 / 0 0 -10, then
        // with 0.5 more.
        let weight = [0.0, 0.0, 0.0, 0.0, -1.0, 1.0, 0.0, 0.0, 0.0];
        for single_channel in [false, true] {
            let run = if single_channel { single } else { dense };
            let plain = run(
                &conv(1, 3, 1, single_channel, false, &weight, &[-1.0]),
                &value(1, 3, 3, &NINE),
            );
            assert_eq!(plain.numbers, [0.0, 0.0, -4.0, 0.0, 0.0, -7.0, 0.0, 0.0, -10.0]);
            let cut =
                run(&conv(1, 3, 1, single_channel, true, &weight, &[-0.5]), &value(1, 3, 3, &NINE));
            assert_eq!(cut.numbers, [0.5, 0.5, 0.0, 0.5, 0.5, 0.0, 0.5, 0.5, 0.0]);
        }
    }

    #[test]
    fn steps_of_two_look_at_every_other_pixel() {
        // 4 × 4 pixels 0 to 15; windows about 0, 2, 8 and 10. Sum of those about 0: 0 + 1 + 4 + 5.
        let numbers: Vec<f32> = (0..16).map(|v| v as f32).collect();
        for single_channel in [false, true] {
            let run = if single_channel { single } else { dense };
            let c = conv(1, 3, 2, single_channel, false, &[1.0; 9], &[0.0]);
            assert_eq!(run(&c, &value(1, 4, 4, &numbers)).numbers, [10.0, 24.0, 51.0, 90.0]);
        }
    }

    #[test]
    fn channels_mix_in_a_dense_step_and_stay_apart_in_a_single_one() {
        let two = value(2, 1, 2, &[1.0, 2.0, 10.0, 20.0]);
        // Channels out: a + 2 b, 3 a, b - a.
        let c = conv(2, 1, 1, false, false, &[1.0, 2.0, 3.0, 0.0, -1.0, 1.0], &[0.0, 0.5, 0.0]);
        assert_eq!(dense(&c, &two).numbers, [21.0, 42.0, 3.5, 6.5, 9.0, 18.0]);
        let c = conv(2, 1, 1, true, false, &[2.0, 3.0], &[0.0, 1.0]);
        assert_eq!(single(&c, &two).numbers, [2.0, 4.0, 31.0, 61.0]);
    }

    #[test]
    fn dense_steps_agree_with_single_ones_beyond_a_tile() {
        // Two channels that do not mix, 5 × 5 windows, more pixels than a tile and not a multiple
        // of it.
        let numbers: Vec<f32> = (0..2 * 22 * 14).map(|i| ((i * 37) % 23) as f32 - 11.0).collect();
        let from = value(2, 14, 22, &numbers);
        let apart: Vec<f32> = (0..50).map(|i| ((i * 11) % 7) as f32 - 3.0).collect();
        let mut mixed = vec![0.0; 100];
        mixed[..25].copy_from_slice(&apart[..25]);
        mixed[75..].copy_from_slice(&apart[25..]);
        for step in [1, 2] {
            let one = single(&conv(2, 5, step, true, true, &apart, &[1.0, -2.0]), &from);
            let all = dense(&conv(2, 5, step, false, true, &mixed, &[1.0, -2.0]), &from);
            assert_eq!(one, all);
        }
    }

    #[test]
    fn doubling_repeats_pixels_and_sums_add_them() {
        let doubled = double(&value(1, 1, 2, &[1.0, 2.0]));
        assert_eq!(doubled, value(1, 2, 4, &[1.0, 1.0, 2.0, 2.0, 1.0, 1.0, 2.0, 2.0]));
        assert_eq!(add(&doubled, &doubled).numbers[2], 4.0);
    }
}
