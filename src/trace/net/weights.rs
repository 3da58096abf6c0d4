//! The file of weights: its steps, checked before anything is worked out with them.
//!
//! Lines of text (`conv FROM IN OUT SIZE STEP GROUPS relu|plain`, `add A B`, `double A`; each makes
//! the value of the next number, 0 being the picture), then `end`, then the convolutions' weights
//! and biases as 16-bit floats, little end first, then the SHA-256 of all that.

use crate::fault::Fault;
use sha2::{Digest, Sha256};

/// Largest side of a convolution, largest number of channels and of steps: far above what is in
/// use.
const MOST: (usize, usize, usize) = (15, 4096, 1000);

/// One step of the network.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Step {
    /// A convolution with as much nought around as keeps the size, each `step` pixels.
    Conv(Conv),
    /// The sum of two values.
    Add(usize, usize),
    /// Each pixel twice as wide and high.
    Double(usize),
}

/// A convolution.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Conv {
    /// Number of the value it works on.
    pub from: usize,
    /// Channels that come in.
    pub channels: usize,
    /// Side of the window, odd.
    pub size: usize,
    /// Pixels from window to window, 1 or 2.
    pub step: usize,
    /// Every channel by itself, instead of all into all.
    pub single: bool,
    /// Negative results become nought.
    pub relu: bool,
    /// By channel out, channel in (one if `single`), row, column.
    pub weight: Vec<f32>,
    /// By channel out.
    pub bias: Vec<f32>,
}

/// A network, fit to be run.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Net {
    /// Its steps.
    pub steps: Vec<Step>,
    /// Both sides of a picture must be multiples of this, pixels.
    pub multiple: usize,
    /// Channels of the last value.
    pub channels: usize,
}

fn damaged(what: impl std::fmt::Display) -> Fault {
    Fault::new(said!("the network's weights are damaged: {what}"), "install the program again")
}

/// A value's channels, and how many pixels of the picture its pixels span.
type Shape = (usize, usize);

impl Net {
    /// Reads a file; `colours` is how many channels the picture has.
    ///
    /// # Errors
    /// Anything that does not fit together, or a hash that differs.
    pub fn read(file: &[u8], colours: usize) -> Result<Net, Fault> {
        let (body, hash) = file
            .split_at_checked(file.len().saturating_sub(32))
            .ok_or_else(|| damaged("nothing there"))?;
        if Sha256::digest(body).as_slice() != hash {
            return Err(damaged("its bytes are not those that were written"));
        }
        const END: &[u8] = b"\nend\n";
        let end = body
            .windows(END.len())
            .position(|w| w == END)
            .ok_or_else(|| damaged("its list of steps has no end"))?;
        let text = std::str::from_utf8(&body[..end]).map_err(damaged)?;
        let mut numbers = Numbers { left: &body[end + END.len()..] };
        let mut lines = text.lines();
        if lines.next() != Some("skin net 1") {
            return Err(damaged("it is of another kind"));
        }
        let mut shapes: Vec<Shape> = vec![(colours, 1)];
        let mut steps = Vec::new();
        for line in lines {
            let (step, shape) = step(line, &shapes, &mut numbers)
                .ok_or_else(|| damaged(format!("step \"{line}\" cannot be")))?;
            steps.push(step);
            shapes.push(shape);
            if steps.len() > MOST.2 {
                return Err(damaged("it has too many steps"));
            }
        }
        if !numbers.left.is_empty() {
            return Err(damaged("it has more numbers than its steps need"));
        }
        let multiple = shapes.iter().map(|s| s.1).max().unwrap_or(1);
        match shapes.last() {
            // Four channels are two by two pixels.
            Some(&(channels, 2)) if channels % 4 == 0 => Ok(Net { steps, multiple, channels }),
            _ => Err(damaged("its answer has another shape")),
        }
    }
}

fn step(line: &str, shapes: &[Shape], numbers: &mut Numbers) -> Option<(Step, Shape)> {
    let words: Vec<&str> = line.split_ascii_whitespace().collect();
    let number = |i: usize| words.get(i).and_then(|w| w.parse::<usize>().ok());
    let shape = |i: usize| number(i).and_then(|n| shapes.get(n)).copied();
    match (*words.first()?, words.len()) {
        ("add", 3) => {
            (shape(1)? == shape(2)?).then_some((Step::Add(number(1)?, number(2)?), shape(1)?))
        }
        ("double", 2) => {
            let (channels, span) = shape(1)?;
            (span % 2 == 0).then_some((Step::Double(number(1)?), (channels, span / 2)))
        }
        ("conv", 8) => {
            let (channels, span) = shape(1)?;
            let (out, size, step, groups) = (number(3)?, number(4)?, number(5)?, number(6)?);
            let relu = match words[7] {
                "relu" => true,
                "plain" => false,
                _ => return None,
            };
            let single = groups != 1;
            let fits = number(2)? == channels
                && (1..=MOST.1).contains(&out)
                && size % 2 == 1
                && size <= MOST.0
                && (1..=2).contains(&step)
                && (!single || groups == channels && out == channels);
            if !fits {
                return None;
            }
            let weight = numbers.take(out * if single { 1 } else { channels } * size * size)?;
            let bias = numbers.take(out)?;
            let conv = Conv { from: number(1)?, channels, size, step, single, relu, weight, bias };
            Some((Step::Conv(conv), (out, span * step)))
        }
        _ => None,
    }
}

/// 16-bit floats that are still to be read.
struct Numbers<'a> {
    left: &'a [u8],
}

impl Numbers<'_> {
    /// The next ones; nothing if there are fewer, or if one is no number.
    fn take(&mut self, count: usize) -> Option<Vec<f32>> {
        let (bytes, left) = self.left.split_at_checked(count.checked_mul(2)?)?;
        self.left = left;
        let numbers: Vec<f32> =
            bytes.as_chunks::<2>().0.iter().map(|b| half(u16::from_le_bytes(*b))).collect();
        numbers.iter().all(|n| n.is_finite()).then_some(numbers)
    }
}

/// A 16-bit float: a sign, 5 bits of exponent, 10 of fraction.
fn half(bits: u16) -> f32 {
    let sign = if bits >> 15 == 1 { -1.0 } else { 1.0 };
    let (exponent, fraction) = (i32::from(bits >> 10 & 31), f32::from(bits & 1023));
    sign * match exponent {
        0 => libm::ldexpf(fraction, -24),
        31 if fraction == 0.0 => f32::INFINITY,
        31 => f32::NAN,
        _ => libm::ldexpf(1024.0 + fraction, exponent - 25),
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;

    /// A file of the given steps and numbers, its hash right.
    pub(crate) fn file(steps: &[&str], numbers: &[u16]) -> Vec<u8> {
        let mut body = format!("skin net 1\n{}\nend\n", steps.join("\n")).into_bytes();
        body.extend(numbers.iter().flat_map(|n| n.to_le_bytes()));
        let hash = Sha256::digest(&body);
        body.extend_from_slice(&hash);
        body
    }

    const ONE: u16 = 0x3c00;

    #[test]
    fn halves_are_those_of_ieee_754() {
        // Values of the standard's binary16: 1, -2, the largest, the least normal and the least of
        // all.
        for (bits, value) in [
            (ONE, 1.0),
            (0xc000, -2.0),
            (0x7bff, 65504.0),
            (0x0400, 6.103_515_6e-5),
            (0x0001, 5.960_464_5e-8),
            (0x3555, 0.333_251_95),
        ] {
            assert_eq!(half(bits), value);
        }
        assert!(half(0x7c01).is_nan() && half(0x7c00).is_infinite());
    }

    #[test]
    fn a_file_that_does_not_fit_together_is_refused() {
        let good = ["conv 0 3 4 1 2 1 relu"];
        let numbers = [ONE; 16];
        assert!(Net::read(&file(&good, &numbers), 3).is_ok());
        let bad: [&[&str]; 10] = [
            &["conv 0 4 4 1 2 1 relu"],            // other channels than the picture's
            &["conv 1 3 4 1 2 1 relu"],            // works on itself
            &["conv 0 3 4 2 2 1 relu"],            // an even window
            &["conv 0 3 4 1 3 1 relu"],            // steps of three
            &["conv 0 3 4 1 2 3 relu"],            // single, but another number comes out
            &["conv 0 3 4 1 2 1 tanh"],            // unknown
            &["conv 0 3 4 1 2 1 relu", "add 0 1"], // sum of different shapes
            &["conv 0 3 4 1 2 1 relu", "double 0"], // larger than the picture
            &["conv 0 3 4 1 1 1 relu"],            // answers not of two by two pixels
            &["conv 0 3 40000 1 2 1 relu"],        // wide beyond reason
        ];
        for steps in bad {
            assert!(Net::read(&file(steps, &numbers), 3).is_err(), "{steps:?}");
        }
        assert!(Net::read(&file(&good, &numbers[1..]), 3).is_err(), "a number too few");
        assert!(Net::read(&file(&good, &[ONE; 17]), 3).is_err(), "a number too many");
        let mut endless = numbers;
        endless[3] = 0x7c00;
        assert!(Net::read(&file(&good, &endless), 3).is_err(), "an infinite weight");
        for length in 0..40 {
            assert!(Net::read(&file(&good, &numbers)[..length], 3).is_err());
        }
    }
}
