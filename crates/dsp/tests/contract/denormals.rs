//! Denormal numbers, which slow a processor down for nothing.

use crate::cases::*;

/// Whether some work computes with denormal numbers: the processor notes it in a sticky flag of its control register
/// (Intel 64 manual, volume 1, section 11.5.2.2: the denormal-operand flag, bit 1 of MXCSR). Unlike a stopwatch it cannot
/// err, and it also sees what never comes out.
#[cfg(target_arch = "x86_64")]
#[allow(unsafe_code)]
fn meets_denormals(work: impl FnOnce()) -> bool {
    use std::arch::asm;
    const MET: u32 = 1 << 1;
    let mut register = 0_u32;
    let place = &raw mut register;
    // The register holds flags and the rounding mode; only the one flag is changed.
    unsafe { asm!("stmxcsr [{}]", in(reg) place) };
    register &= !MET;
    unsafe { asm!("ldmxcsr [{}]", in(reg) place) };
    work();
    unsafe { asm!("stmxcsr [{}]", in(reg) place) };
    register & MET != 0
}

#[test]
#[cfg(target_arch = "x86_64")]
fn the_flag_tells_denormals() {
    let multiply = |a: f64, b: f64| {
        std::hint::black_box(std::hint::black_box(a) * std::hint::black_box(b));
    };
    assert!(meets_denormals(|| multiply(1e-310, 0.5)) && !meets_denormals(|| multiply(0.0, 0.5)));
}

/// What rings on must end, not crawl: after a fade to -600 dB and in the silence after it. What dies away may pass
/// through the denormals once on its way.
#[test]
#[cfg(target_arch = "x86_64")]
fn nothing_crawls_on_denormals() {
    const FRAMES: usize = 1024;
    for_every_case(|entry, settings, rate_hz, mut random| {
        let mut processor = build(entry, settings, rate_hz, 1).unwrap();
        let mut met = 0;
        for block in 0..100 {
            let mut data = random.signal(FRAMES, if block < 30 { libm::pow(10.0, -f64::from(block)) } else { 0.0 });
            met += usize::from(meets_denormals(|| run(processor.as_mut(), &mut data, FRAMES, FRAMES, None, &[])));
        }
        assert!(met <= 3, "{met} of 100 blocks computed with denormals");
    });
}
