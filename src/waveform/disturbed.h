// What no coil can show and only a bench does: samples that were lost on the way
// or came twice, and bursts of noise. Inside the waveform folder only.
#pragma once

#include <optional>
#include <string>

#include "waveform/capture.h"

namespace pinproof::waveform {

enum class DisturbanceKind {
  lost,     ///< a jump from one level to another
  doubled,  ///< a stretch comes twice
  apart,    ///< current and voltage switch at different times: one of them lost samples
  burst     ///< a short stretch is many times as noisy as the rest
};

struct Disturbance {
  DisturbanceKind kind = DisturbanceKind::lost;
  double at_s = 0;  ///< in the capture's time
};
/// A clause for people: what was seen, and when.
std::string text_of(const Disturbance& disturbance);

/// A coil's current cannot jump but where its voltage does, nor start before its
/// voltage, outlast it or end before it. A current that breaks off to nought and
/// comes back, or ends while the source is relieved of it, is an open winding and no
/// disturbance. Switching edges, the end of a clamp, corners and single wild
/// samples do not count, nor does anything in a modulated capture.
///
/// Not seen are: the same block lost in both channels where the current stands
/// still, or goes on at the same level; jumps below 1 % of the largest current or
/// eleven standard deviations; blocks behind the decay; lags below 30 us or five
/// samples; without a voltage channel all but doubled stretches and bursts; and a
/// current that ends at once, early, on a source too stiff to be relieved.
/// Pre: fault_in(capture) is empty.
std::optional<Disturbance> find_disturbance(const Capture& capture);

/// When the current broke off to nought, in the capture's time, while the voltage
/// stood, and came back before the switch-off: an open that comes and goes.
/// Pre: fault_in(capture) is empty.
std::optional<double> find_interruption(const Capture& capture);

}  // namespace pinproof::waveform
