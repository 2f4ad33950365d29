//! Exact confidence limits of a proportion (Clopper and Pearson 1934), by bisection on the binomial distribution.
#![allow(dead_code)]

fn log_factorials(n: usize) -> Vec<f64> {
    let mut out = vec![0.0; n + 1];
    for i in 1..=n {
        out[i] = out[i - 1] + (i as f64).ln();
    }
    out
}

/// Probability of at most `k` successes in `n` trials of probability `p`.
fn at_most(k: usize, n: usize, p: f64, logs: &[f64]) -> f64 {
    if p <= 0.0 {
        return 1.0;
    }
    if p >= 1.0 {
        return if k >= n { 1.0 } else { 0.0 };
    }
    (0..=k).map(|i| (logs[n] - logs[i] - logs[n - i] + i as f64 * p.ln() + (n - i) as f64 * (1.0 - p).ln()).exp()).sum()
}

/// The exact 95 % confidence interval of `k` in `n`.
pub fn exact(k: usize, n: usize) -> (f64, f64) {
    let logs = log_factorials(n);
    let solve = |f: &dyn Fn(f64) -> bool| {
        let (mut low, mut high) = (0.0, 1.0);
        for _ in 0..60 {
            let mid = (low + high) / 2.0;
            if f(mid) { low = mid } else { high = mid }
        }
        low
    };
    let low = if k == 0 { 0.0 } else { solve(&|p| 1.0 - at_most(k - 1, n, p, &logs) < 0.025) };
    let high = if k == n { 1.0 } else { solve(&|p| at_most(k, n, p, &logs) > 0.025) };
    (low, high)
}

/// "97.5 % (195 of 200, 94.3 to 99.2)".
pub fn share(k: usize, n: usize) -> String {
    if n == 0 {
        return "-".to_owned();
    }
    let (low, high) = exact(k, n);
    let percent = |x: f64| x * 100.0;
    format!("{:5.1} % ({k} of {n}, {:.1} to {:.1})", percent(k as f64 / n as f64), percent(low), percent(high))
}
