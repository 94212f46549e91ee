//! From impedances, admittances and hybrids to scattering parameters.
//!
//! In: one matrix and a reference resistance a port, in ohms. Out: the same network's scattering
//! matrix. Power waves at real references, so that |S|² is a ratio of powers:
//!
//!   a = (V + R·I) / (2·√R)     b = (V − R·I) / (2·√R)     b = S·a
//!
//! Each kind of parameters gives one of V and I at a port for the others (the independent ones,
//! x): V = Z·x for currents x, I = Y·x for voltages x, and the two-port hybrids a mixture. So with
//! a = A·x and b = B·x, S = B·A⁻¹. Textbook network theory, from memory, unverified; held against
//! scikit-rf on random networks in `tests/reference`.

use num_complex::Complex64;

use super::super::sweep::PORTS_MAX;
use super::header::Kind;

type Square = [[Complex64; PORTS_MAX]; PORTS_MAX];

const ZERO: Complex64 = Complex64::new(0.0, 0.0);

/// Whether the independent quantity at a port is its current.
fn current_driven(kind: Kind, port: usize) -> bool {
    match kind {
        Kind::Impedance | Kind::Scattering => true,
        Kind::Admittance => false,
        Kind::Hybrid => port == 0,
        Kind::InverseHybrid => port == 1,
    }
}

/// Turns a matrix, row by row, into scattering parameters in place. None where there are none.
/// Scattering parameters stay as they are.
pub(super) fn to_scattering(
    kind: Kind,
    references: &[f64],
    matrix: &mut [Complex64],
) -> Option<()> {
    if kind == Kind::Scattering {
        return Some(());
    }
    let ports = references.len();
    // Transposed, because S·A = B is solved as Aᵀ·Sᵀ = Bᵀ.
    let (mut arriving, mut leaving): (Square, Square) = Default::default();
    for (row, &ohm) in references.iter().enumerate() {
        let current = current_driven(kind, row);
        for column in 0..ports {
            let value = matrix[row * ports + column];
            let unit = if row == column { 1.0 } else { 0.0 };
            let (voltage, drop) = match current {
                true => (value, Complex64::new(ohm * unit, 0.0)),
                false => (Complex64::new(unit, 0.0), value * ohm),
            };
            arriving[column][row] = voltage + drop;
            leaving[column][row] = voltage - drop;
        }
    }
    solve(&mut arriving, &mut leaving, ports)?;
    for row in 0..ports {
        for column in 0..ports {
            let scale = (references[column] / references[row]).sqrt();
            let value = leaving[column][row] * scale;
            matrix[row * ports + column] = Some(value).filter(|value| value.is_finite())?;
        }
    }
    Some(())
}

/// Solves `left`·x = `right` for a square of right sides, in place. None where `left` is singular.
fn solve(left: &mut Square, right: &mut Square, size: usize) -> Option<()> {
    for pivot in 0..size {
        let largest = (pivot..size)
            .max_by(|&a, &b| left[a][pivot].norm_sqr().total_cmp(&left[b][pivot].norm_sqr()))?;
        left.swap(pivot, largest);
        right.swap(pivot, largest);
        let by = left[pivot][pivot];
        if by == ZERO || !by.is_finite() {
            return None;
        }
        for column in 0..size {
            left[pivot][column] /= by;
            right[pivot][column] /= by;
        }
        for row in (0..size).filter(|&row| row != pivot) {
            let factor = left[row][pivot];
            for column in 0..size {
                let (taken, moved) = (left[pivot][column], right[pivot][column]);
                left[row][column] -= factor * taken;
                right[row][column] -= factor * moved;
            }
        }
    }
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: Complex64, expected: Complex64) {
        assert!((got - expected).norm() < 1e-12, "{got}, expected {expected}");
    }

    #[test]
    fn a_resistor_across_one_port() {
        // HANDBOOK 5.3: 200 Ω on 50 Ω is 4:1, so Γ = (4 − 1)/(4 + 1) = 0.6; 10 Ω is 5:1.
        let mut across = [Complex64::new(200.0, 0.0)];
        to_scattering(Kind::Impedance, &[50.0], &mut across).unwrap();
        close(across[0], Complex64::new(0.6, 0.0));
        let mut across = [Complex64::new(1.0 / 10.0, 0.0)];
        to_scattering(Kind::Admittance, &[50.0], &mut across).unwrap();
        close(across[0], Complex64::new(-2.0 / 3.0, 0.0));
    }

    #[test]
    fn an_ideal_transformer_has_hybrids_and_no_impedances() {
        // V1 = n·V2, I2 = −n·I1 with n = 1 is a plain connection: S11 = 0, S21 = 1.
        let one = Complex64::new(1.0, 0.0);
        let mut hybrid = [ZERO, one, -one, ZERO];
        to_scattering(Kind::Hybrid, &[50.0, 50.0], &mut hybrid).unwrap();
        for (got, expected) in hybrid.into_iter().zip([ZERO, one, one, ZERO]) {
            close(got, expected);
        }
    }

    #[test]
    fn what_has_no_scattering_parameters_is_none() {
        // A source of power that just makes up for what the reference takes.
        let mut active = [Complex64::new(-50.0, 0.0)];
        assert!(to_scattering(Kind::Impedance, &[50.0], &mut active).is_none());
    }

    #[test]
    fn the_other_hybrids_of_the_same_transformer_say_the_same() {
        // I1 = g11·V1 + g12·I2, V2 = g21·V1 + g22·I2: of a plain connection g12 = −1, g21 = 1.
        let one = Complex64::new(1.0, 0.0);
        let mut hybrid = [ZERO, -one, one, ZERO];
        to_scattering(Kind::InverseHybrid, &[50.0, 50.0], &mut hybrid).unwrap();
        for (got, expected) in hybrid.into_iter().zip([ZERO, one, one, ZERO]) {
            close(got, expected);
        }
        // A turns ratio of 2 between 50 Ω and 200 Ω fits as well; on 50 Ω it does not.
        let half = Complex64::new(0.5, 0.0);
        for (references, through, back) in [([50.0, 200.0], 1.0, 0.0), ([50.0, 50.0], 0.8, -0.6)] {
            let mut turned = [ZERO, half, -half, ZERO];
            to_scattering(Kind::Hybrid, &references, &mut turned).unwrap();
            // Γ of 200 Ω over n² = 4 is that of 12.5 Ω on 50 Ω where 50 Ω ends the far port.
            close(turned[0], Complex64::new(back, 0.0));
            close(turned[2], Complex64::new(through, 0.0));
        }
    }
}
