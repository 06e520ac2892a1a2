//! Hands the program what it says of its own build: target, profile and features. Nothing that
//! differs between two builds of the same sources.

fn main() {
    let told = |name: &str| std::env::var(name).unwrap_or_else(|_| "unknown".to_owned());
    println!("cargo::rustc-env=SEAMLINE_TARGET={}", told("TARGET"));
    println!("cargo::rustc-env=SEAMLINE_PROFILE={}", told("PROFILE"));
    let mut features: Vec<String> = std::env::vars()
        .filter_map(|(name, _)| Some(name.strip_prefix("CARGO_FEATURE_")?.to_lowercase()))
        .collect();
    features.sort();
    let features = if features.is_empty() {
        "none".to_owned()
    } else {
        features.join(" ")
    };
    println!("cargo::rustc-env=SEAMLINE_FEATURES={features}");
    println!("cargo::rerun-if-changed=build.rs");
}
