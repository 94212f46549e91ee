//! The sine that fits samples best: three parameters where its frequency is known, four where not.
//!
//! In: samples, and a frequency in hertz. Out: a [`Sine`]. IEEE 1057 and 1241; HANDBOOK 9.2.
//!
//!   y(t) = A·cos ωt + B·sin ωt + C       t counts samples from the middle of the record
//!
//! Three parameters: linear least squares for A, B and C. Four: the same with the column
//! t·(−A·sin ωt + B·cos ωt) for a change of ω, repeated until ω stands (Gauss–Newton). That wants a
//! start within half a turn over the record, so [`near`] looks for it first, within a window about
//! the tone that is known: it cannot lock onto a stronger spur elsewhere (trap 6 of HANDBOOK §12).
//!
//! The sums over t alone have closed forms, as t is symmetric; those with y are taken in blocks
//! against one table of cosines and sines, which is turned by each block's own angle.

use std::f64::consts::TAU;

use rustfft::FftPlanner;
use rustfft::num_complex::Complex;

use super::{AudioRefused, Samples, enough};
use crate::units::in_range;

/// How far a tone may lie from what it should be, relative to it, and still be found.
pub const TONE_WINDOW: f64 = 0.02;
/// The fewest cycles a fit is made over: with fewer, offset and tone cannot be told apart.
pub const CYCLES_MIN: f64 = 3.0;
/// A tone whose power is less than this part of all else is none: noise alone fits that well.
pub const TONE_LEAST: f64 = 0.01;
/// Above this part of the sample rate a sine has too few samples a cycle.
pub const FREQUENCY_MAX: f64 = 0.49;

const BLOCK: usize = 256;
const LANES: usize = 4;
// At 0 dB SINAD each round gains about a decimal; above 20 dB three or four rounds are all.
const ROUNDS_MAX: usize = 30;

/// A sine and what it leaves over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sine {
    /// Its frequency, in hertz.
    pub frequency_hz: f64,
    /// A: what goes with the cosine, in the unit of the samples.
    pub cosine: f64,
    /// B: what goes with the sine.
    pub sine: f64,
    /// C: the mean about which it swings.
    pub offset: f64,
    /// The mean square of what it leaves over.
    pub rest_mean_square: f64,
}

impl Sine {
    /// Half of what it swings from top to bottom.
    pub fn amplitude(&self) -> f64 {
        self.cosine.hypot(self.sine)
    }

    /// Its power: half the square of the amplitude.
    pub fn mean_square(&self) -> f64 {
        (self.cosine * self.cosine + self.sine * self.sine) / 2.0
    }

    /// The samples without it.
    pub fn taken_from(&self, samples: &Samples) -> Vec<f64> {
        let mut rest = samples.values().to_vec();
        take(&mut rest, TAU * self.frequency_hz / samples.rate_hz(), self);
        rest
    }
}

/// The sine of a known frequency that fits best.
pub fn three_parameter(samples: &Samples, frequency_hz: f64) -> Result<Sine, AudioRefused> {
    let omega = usable(samples, frequency_hz)?;
    Ok(finished(samples, omega, Moments::of(samples.values(), omega).solved(omega)))
}

/// The sine that fits best, its frequency too. `start_hz` must be within half a cycle over the
/// record of it; [`near`] looks further.
pub fn four_parameter(samples: &Samples, start_hz: f64) -> Result<Sine, AudioRefused> {
    let values = samples.values();
    let mut omega = usable(samples, start_hz)?;
    let (lowest, highest) = omega_range(samples);
    let half_turn = TAU / 2.0 / values.len() as f64;
    let mut best = (f64::INFINITY, omega, [0.0; 3]);
    for _ in 0..ROUNDS_MAX {
        let moments = Moments::of(values, omega);
        let linear = moments.solved(omega);
        let explained = moments.explained(&linear);
        if -explained < best.0 {
            best = (-explained, omega, linear);
        }
        let step = moments.step(omega, &linear).clamp(-half_turn, half_turn);
        omega = (omega + step).clamp(lowest, highest);
        if step.abs() < 1e-10 * half_turn {
            let linear = Moments::of(values, omega).solved(omega);
            return Ok(finished(samples, omega, linear));
        }
    }
    Ok(finished(samples, best.1, best.2))
}

/// The tone near a known frequency: the strongest within [`TONE_WINDOW`], fitted. Refused where
/// there is none worth the name ([`TONE_LEAST`]).
pub fn near(samples: &Samples, tone_hz: f64) -> Result<Sine, AudioRefused> {
    usable(samples, tone_hz)?;
    let cycle_hz = samples.rate_hz() / samples.values().len() as f64;
    let window_hz = (TONE_WINDOW * tone_hz).max(cycle_hz);
    let found = four_parameter(samples, strongest(samples, tone_hz, window_hz))?;
    let weak = found.mean_square() < TONE_LEAST * found.rest_mean_square;
    if weak || (found.frequency_hz - tone_hz).abs() > window_hz {
        return Err(AudioRefused::NoTone { wanted_hz: tone_hz, window_hz });
    }
    Ok(found)
}

/// The sums of the values with a cosine and with a sine of `omega` a sample, squared and added.
pub(super) fn projected(values: &[f64], omega: f64) -> f64 {
    let moments = Moments::of(values, omega);
    moments.cos * moments.cos + moments.sin * moments.sin
}

fn omega_range(samples: &Samples) -> (f64, f64) {
    (TAU * CYCLES_MIN / samples.values().len() as f64, TAU * FREQUENCY_MAX)
}

/// The angle a sample, or why there is no fit.
fn usable(samples: &Samples, frequency_hz: f64) -> Result<f64, AudioRefused> {
    let highest = FREQUENCY_MAX * samples.rate_hz();
    in_range("tone", frequency_hz, 1.0..=highest, "Hz")?;
    let wanted = (CYCLES_MIN * samples.rate_hz() / frequency_hz).ceil();
    // Finite and positive: a rate of at most 10 MHz over at least 1 Hz.
    enough(samples.values().len(), wanted as usize)?;
    Ok(TAU * frequency_hz / samples.rate_hz())
}

fn finished(samples: &Samples, omega: f64, [cosine, sine, offset]: [f64; 3]) -> Sine {
    let frequency_hz = omega / TAU * samples.rate_hz();
    let mut found = Sine { frequency_hz, cosine, sine, offset, rest_mean_square: 0.0 };
    let mut sum = 0.0;
    let table = Table::new(omega);
    let mut rest = [0.0; BLOCK];
    for (n, block) in samples.values().chunks(BLOCK).enumerate() {
        let rest = &mut rest[..block.len()];
        rest.copy_from_slice(block);
        table.take(rest, table.angle(n, samples.values().len()), &found);
        sum += dot(rest, rest);
    }
    found.rest_mean_square = sum / samples.values().len() as f64;
    found
}

fn take(values: &mut [f64], omega: f64, sine: &Sine) {
    let count = values.len();
    let table = Table::new(omega);
    for (n, block) in values.chunks_mut(BLOCK).enumerate() {
        table.take(block, table.angle(n, count), sine);
    }
}

/// Cosines and sines of one block, and the same times the place in the block.
struct Table {
    omega: f64,
    cos: [f64; BLOCK],
    sin: [f64; BLOCK],
    place_cos: [f64; BLOCK],
    place_sin: [f64; BLOCK],
}

impl Table {
    fn new(omega: f64) -> Self {
        let cos = std::array::from_fn(|i| (omega * i as f64).cos());
        let sin = std::array::from_fn(|i| (omega * i as f64).sin());
        let place_cos = std::array::from_fn(|i| i as f64 * cos[i]);
        let place_sin = std::array::from_fn(|i| i as f64 * sin[i]);
        Self { omega, cos, sin, place_cos, place_sin }
    }

    /// The time of a block's first sample from the middle of the record.
    fn time(&self, block: usize, count: usize) -> f64 {
        (block * BLOCK) as f64 - (count - 1) as f64 / 2.0
    }

    fn angle(&self, block: usize, count: usize) -> f64 {
        self.omega * self.time(block, count)
    }

    fn take(&self, block: &mut [f64], angle: f64, sine: &Sine) {
        let (turn_sin, turn_cos) = angle.sin_cos();
        let cosine = sine.cosine * turn_cos + sine.sine * turn_sin;
        let other = sine.sine * turn_cos - sine.cosine * turn_sin;
        let tables = self.cos.iter().zip(&self.sin);
        for (value, (cos, sin)) in block.iter_mut().zip(tables) {
            *value -= cosine * cos + other * sin + sine.offset;
        }
    }
}

/// The sums that need the samples: y, y·cos, y·sin, y·t·cos, y·t·sin.
struct Moments {
    count: f64,
    y: f64,
    cos: f64,
    sin: f64,
    time_cos: f64,
    time_sin: f64,
}

impl Moments {
    fn of(values: &[f64], omega: f64) -> Self {
        let table = Table::new(omega);
        let count = values.len();
        let (mut y, mut cos, mut sin, mut time_cos, mut time_sin) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for (n, block) in values.chunks(BLOCK).enumerate() {
            let (turn_sin, turn_cos) = table.angle(n, count).sin_cos();
            let time = table.time(n, count);
            let [c, s, pc, ps, sum] = table.sums(block);
            let (at_cos, at_sin) = (turn_cos * c - turn_sin * s, turn_sin * c + turn_cos * s);
            y += sum;
            cos += at_cos;
            sin += at_sin;
            time_cos += time * at_cos + turn_cos * pc - turn_sin * ps;
            time_sin += time * at_sin + turn_sin * pc + turn_cos * ps;
        }
        Self { count: count as f64, y, cos, sin, time_cos, time_sin }
    }

    /// A, B and C that fit best. B stands alone: a sine about the middle is odd.
    fn solved(&self, omega: f64) -> [f64; 3] {
        let [one, _, _] = kernels(self.count, omega);
        let [two, _, _] = kernels(self.count, 2.0 * omega);
        let (cos_cos, sin_sin) = ((self.count + two) / 2.0, (self.count - two) / 2.0);
        let pivot = cos_cos * self.count - one * one;
        let cosine = (self.cos * self.count - self.y * one) / pivot;
        let offset = (self.y * cos_cos - self.cos * one) / pivot;
        [cosine, self.sin / sin_sin, offset]
    }

    /// How much of the sum of squares the fit explains.
    fn explained(&self, [cosine, sine, offset]: &[f64; 3]) -> f64 {
        cosine * self.cos + sine * self.sin + offset * self.y
    }

    /// The change of ω that one Gauss–Newton round asks for, A, B and C being free beside it.
    fn step(&self, omega: f64, [a, b, c]: &[f64; 3]) -> f64 {
        let n = self.count;
        let [one, one_first, _] = kernels(n, omega);
        let [two, two_first, two_second] = kernels(n, 2.0 * omega);
        let squares = n * (n * n - 1.0) / 12.0;
        let (cos_cos, sin_sin, time_cos_sin) = ((n + two) / 2.0, (n - two) / 2.0, two_first / 2.0);
        // The column d = t·(−A·sin + B·cos) against the other three and itself.
        let (cos_d, sin_d, one_d) = (-a * time_cos_sin, b * time_cos_sin, -a * one_first);
        let d_d = a * a * (squares - two_second) / 2.0 + b * b * (squares + two_second) / 2.0;
        let rest_d = -a * self.time_sin + b * self.time_cos - a * cos_d - b * sin_d - c * one_d;
        // What of d the other columns cannot make: its part by (cos, 1) and by sin.
        let pivot = cos_cos * n - one * one;
        let by_cos = (cos_d * n - one_d * one) / pivot;
        let by_one = (one_d * cos_cos - cos_d * one) / pivot;
        let alone = d_d - by_cos * cos_d - by_one * one_d - sin_d * sin_d / sin_sin;
        if alone > 0.0 { rest_d / alone } else { 0.0 }
    }
}

impl Table {
    /// Sums of a block against the tables and alone, in lanes that run side by side.
    fn sums(&self, block: &[f64]) -> [f64; 5] {
        let mut lanes = [[0.0; LANES]; 5];
        let tables = self.cos.chunks_exact(LANES).zip(self.sin.chunks_exact(LANES));
        let places = self.place_cos.chunks_exact(LANES).zip(self.place_sin.chunks_exact(LANES));
        let whole = block.chunks_exact(LANES);
        for (y, ((c, s), (pc, ps))) in whole.zip(tables.zip(places)) {
            for lane in 0..LANES {
                lanes[0][lane] += y[lane] * c[lane];
                lanes[1][lane] += y[lane] * s[lane];
                lanes[2][lane] += y[lane] * pc[lane];
                lanes[3][lane] += y[lane] * ps[lane];
                lanes[4][lane] += y[lane];
            }
        }
        for (i, y) in block.iter().enumerate().skip(block.len() / LANES * LANES) {
            let columns = [self.cos[i], self.sin[i], self.place_cos[i], self.place_sin[i], 1.0];
            lanes.iter_mut().zip(columns).for_each(|(lane, column)| lane[0] += y * column);
        }
        lanes.map(|lane| lane.iter().sum())
    }
}

pub(super) fn dot(a: &[f64], b: &[f64]) -> f64 {
    let mut lanes = [0.0; LANES];
    let (a_whole, b_whole) = (a.chunks_exact(LANES), b.chunks_exact(LANES));
    let left = a_whole.remainder().iter().zip(b_whole.remainder());
    let left: f64 = left.map(|(x, y)| x * y).sum();
    for (x, y) in a_whole.zip(b_whole) {
        for lane in 0..LANES {
            lanes[lane] += x[lane] * y[lane];
        }
    }
    lanes.iter().sum::<f64>() + left
}

/// Σ cos αt, Σ t·sin αt and Σ t²·cos αt over `count` samples about the middle.
///
/// With u = α/2 the first is g = sin(count·u)/sin u; the others are −dg/dα and −d²g/dα².
fn kernels(count: f64, alpha: f64) -> [f64; 3] {
    let u = alpha / 2.0;
    let ((sin_u, cos_u), (sin_nu, cos_nu)) = (u.sin_cos(), (count * u).sin_cos());
    let g = sin_nu / sin_u;
    let first = (count * cos_nu - g * cos_u) / sin_u;
    let second = g - count * count * g - 2.0 * first * cos_u / sin_u;
    [g, -first / 2.0, -second / 4.0]
}

/// Where within the window the most power stands, to an eighth of a cycle over the record.
///
/// The samples are turned down by the tone and thinned to a few times the window, each thin sample
/// under a Hann window two strides wide so that what lies outside stays outside.
fn strongest(samples: &Samples, tone_hz: f64, window_hz: f64) -> f64 {
    let values = samples.values();
    let stride = (samples.rate_hz() / (8.0 * window_hz)).floor().max(1.0);
    // At most a quarter of the record, so that three thin samples are there at least.
    let stride = (stride as usize).clamp(1, values.len() / 4);
    let omega = TAU * tone_hz / samples.rate_hz();
    let hann = |i: usize, count: usize| 0.5 - 0.5 * (TAU * (i as f64 + 0.5) / count as f64).cos();
    let turned = |i: usize| (omega * i as f64).sin_cos();
    let cos: Vec<f64> = (0..2 * stride).map(|i| hann(i, 2 * stride) * turned(i).1).collect();
    let sin: Vec<f64> = (0..2 * stride).map(|i| hann(i, 2 * stride) * turned(i).0).collect();
    let count = (values.len() - 2 * stride) / stride + 1;
    let mean = samples.mean();
    let (mean_cos, mean_sin) = (mean * cos.iter().sum::<f64>(), mean * sin.iter().sum::<f64>());
    let thin = (0..count).map(|m| {
        let block = &values[m * stride..(m + 2) * stride];
        let part = Complex::new(dot(block, &cos) - mean_cos, mean_sin - dot(block, &sin));
        part * Complex::from_polar(hann(m, count), -omega * (m * stride) as f64)
    });
    let padded = (4 * count).next_power_of_two();
    let mut spectrum: Vec<Complex<f64>> = thin.collect();
    spectrum.resize(padded, Complex::default());
    FftPlanner::new().plan_fft_forward(padded).process(&mut spectrum);
    let step_hz = samples.rate_hz() / stride as f64 / padded as f64;
    let offset_hz = |k: usize| {
        let above = k as f64 * step_hz;
        if k < padded / 2 { above } else { above - samples.rate_hz() / stride as f64 }
    };
    let within = (0..padded).filter(|&k| offset_hz(k).abs() <= window_hz);
    let peak = within.max_by(|&a, &b| spectrum[a].norm_sqr().total_cmp(&spectrum[b].norm_sqr()));
    let highest = FREQUENCY_MAX * samples.rate_hz();
    let lowest = CYCLES_MIN * samples.rate_hz() / values.len() as f64;
    (tone_hz + peak.map_or(0.0, offset_hz)).clamp(lowest, highest)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tone(hz: f64, amplitude: f64, offset: f64, count: usize) -> Samples {
        let y = |n: usize| offset + amplitude * (TAU * hz * n as f64 / 48e3 + 0.3).sin();
        Samples::new((0..count).map(y).collect(), 48e3).unwrap()
    }

    #[test]
    fn what_a_sine_is_made_of_explains_all_of_it() {
        let omega = TAU * 1e3 / 48e3;
        let values = tone(1e3, 0.5, 0.2, 777).values().to_vec();
        let moments = Moments::of(&values, omega);
        let squares: f64 = values.iter().map(|value| value * value).sum();
        let explained = moments.explained(&moments.solved(omega));
        assert!((explained / squares - 1.0).abs() < 1e-12, "{explained} of {squares}");
    }

    #[test]
    fn the_sums_over_time_have_the_closed_form_used() {
        for (count, alpha) in [(64usize, 0.3), (65, 0.3), (1001, 0.013), (200, 3.0)] {
            let sums = (0..count).map(|n| n as f64 - (count - 1) as f64 / 2.0).fold(
                [0.0; 3],
                |[g, first, second], t| {
                    let (sin, cos) = (alpha * t).sin_cos();
                    [g + cos, first + t * sin, second + t * t * cos]
                },
            );
            let got = kernels(count as f64, alpha);
            for (got, sum) in got.iter().zip(sums) {
                assert!((got - sum).abs() < 1e-7 * sum.abs().max(1.0), "{count}: {got} for {sum}");
            }
        }
    }

    #[test]
    fn a_sine_alone_is_found_to_the_last_digits() {
        // HANDBOOK 9.2: 1000.7 Hz, amplitude 1, offset 0.3, 48 kHz, 0.1 s.
        let samples = tone(1000.7, 1.0, 0.3, 4800);
        let found = near(&samples, 1000.0).unwrap();
        assert!((found.frequency_hz - 1000.7).abs() < 1e-8, "{found:?}");
        assert!((found.amplitude() - 1.0).abs() < 1e-10 && (found.offset - 0.3).abs() < 1e-10);
        assert!(found.rest_mean_square < 1e-20);
        let known = three_parameter(&samples, 1000.7).unwrap();
        assert!((known.amplitude() - 1.0).abs() < 1e-10 && known.rest_mean_square < 1e-20);
        assert!(known.taken_from(&samples).iter().all(|rest| rest.abs() < 1e-10));
        let off = three_parameter(&samples, 1003.0).unwrap();
        assert!(off.rest_mean_square > 0.01, "a wrong frequency leaves much over: {off:?}");
    }

    #[test]
    fn a_stronger_spur_elsewhere_is_not_taken_for_the_tone() {
        // Trap 6 of HANDBOOK §12.
        let (wanted, spur) = (tone(1003.0, 0.1, 0.0, 48_000), tone(1700.0, 1.0, 0.0, 48_000));
        let both = wanted.values().iter().zip(spur.values()).map(|(a, b)| a + b).collect();
        let found = near(&Samples::new(both, 48e3).unwrap(), 1000.0).unwrap();
        assert!((found.frequency_hz - 1003.0).abs() < 0.01, "{found:?}");
        assert!((found.amplitude() - 0.1).abs() < 0.001);
    }

    #[test]
    fn a_tone_outside_the_window_is_not_found() {
        let refused = near(&tone(1050.0, 1.0, 0.0, 48_000), 1000.0);
        assert!(matches!(refused, Err(AudioRefused::NoTone { .. })), "{refused:?}");
        assert!(near(&tone(1019.0, 1.0, 0.0, 48_000), 1000.0).is_ok());
    }

    #[test]
    fn too_few_cycles_or_samples_a_cycle_are_refused() {
        let samples = tone(1000.0, 1.0, 0.0, 144);
        assert!(three_parameter(&samples, 1000.0).is_ok());
        let refused = three_parameter(&samples, 999.0);
        assert_eq!(refused, Err(AudioRefused::TooShort { samples: 144, wanted: 145 }));
        for frequency_hz in [0.0, -5.0, f64::NAN, 23_521.0] {
            let refused = four_parameter(&samples, frequency_hz);
            assert!(matches!(refused, Err(AudioRefused::Number(_))), "{refused:?}");
        }
    }

    #[test]
    fn one_round_goes_nearly_all_the_way() {
        // Gauss and Newton: what is left is of the second order in how far off the start was.
        for (hz, count) in [(1000.7, 4800), (1000.0, 160), (1000.0, 171), (733.0, 333), (9e3, 64)] {
            let values = tone(hz, 0.7, 0.3, count).values().to_vec();
            let omega = TAU * hz / 48e3;
            for off in [1e-4, -1e-4].map(|part| part * TAU / 2.0 / count as f64) {
                let moments = Moments::of(&values, omega + off);
                let step = moments.step(omega + off, &moments.solved(omega + off));
                assert!((step / off + 1.0).abs() < 1e-3, "{hz}, {count}: {step} for {off}");
            }
        }
    }

    #[test]
    fn three_parameters_of_a_short_record_are_those_it_was_made_of() {
        for count in [150, 161, 257, 300] {
            let samples = tone(1000.0, 0.7, 0.3, count);
            let found = three_parameter(&samples, 1000.0).unwrap();
            assert!((found.amplitude() - 0.7).abs() < 1e-10, "{count}: {found:?}");
            assert!((found.offset - 0.3).abs() < 1e-10, "{count}: {found:?}");
            assert!((found.mean_square() - 0.245).abs() < 1e-10, "{count}");
            assert!(found.rest_mean_square < 1e-20, "{count}: {found:?}");
            // About the middle of the record: 0.7·sin(ωt + φ), φ the angle there.
            let phase = TAU * 1e3 * (count - 1) as f64 / 2.0 / 48e3 + 0.3;
            assert!((found.cosine - 0.7 * phase.sin()).abs() < 1e-10, "{count}: {found:?}");
            assert!((found.sine - 0.7 * phase.cos()).abs() < 1e-10, "{count}: {found:?}");
        }
    }

    #[test]
    fn the_search_comes_within_a_quarter_of_a_cycle_over_the_record() {
        for (hz, count) in [(1000.0, 9_600), (1004.0, 9_600), (985.0, 48_000), (1019.0, 24_000)] {
            let samples = tone(hz, 0.5, 0.4, count);
            let cycle_hz = 48e3 / count as f64;
            let found = strongest(&samples, 1000.0, (TONE_WINDOW * 1000.0).max(cycle_hz));
            assert!((found - hz).abs() < 0.25 * cycle_hz, "{hz} of {count}: {found}");
        }
    }

    #[test]
    fn a_tone_that_the_fit_finds_beyond_the_window_is_none() {
        // Half a cycle over the record beyond the window's end: near enough to be fitted.
        for hz in [1025.0, 975.0] {
            let refused = near(&tone(hz, 1.0, 0.0, 4800), 1000.0);
            let none = AudioRefused::NoTone { wanted_hz: 1000.0, window_hz: 20.0 };
            assert_eq!(refused, Err(none), "{hz}");
        }
        assert!(near(&tone(1019.5, 1.0, 0.0, 4800), 1000.0).is_ok());
        assert!(near(&tone(980.5, 1.0, 0.0, 4800), 1000.0).is_ok());
    }
}
