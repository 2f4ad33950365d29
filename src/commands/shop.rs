//! `probeside shop`. `shop_args.rs` has its arguments; `archive.rs` does the work, with the feature `shop`.

pub use super::shop_args::Args;
use crate::run::Outcome;

/// Runs the command.
///
/// # Errors
/// The archive's error. Without the feature `shop`: it is not built in.
pub fn run(args: &Args) -> Outcome {
    #[cfg(feature = "shop")]
    return super::archive::run(args);
    #[cfg(not(feature = "shop"))]
    {
        let _ = args;
        Err(crate::run::Failure::Lacks(
            "the shop's archive is not built into this probeside; build it with `cargo build --release --features shop`".into(),
        ))
    }
}

#[cfg(all(test, not(feature = "shop")))]
mod tests {
    use super::*;
    use crate::commands::shop_args::{Add, What};

    #[test]
    fn without_the_feature_it_says_which() {
        let what = What::Add(Add { sessions: vec!["x".into()], unverified: false });
        let failure = run(&Args { archive: None, what }).unwrap_err();
        assert!(failure.code() == 3 && failure.to_string().contains("--features shop"), "{failure}");
    }
}
