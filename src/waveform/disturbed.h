// What no coil can show and only a bench does: samples that were lost on the way
// or came twice, and bursts of noise. Inside the waveform folder only.
#pragma once

#include <optional>
#include <string>

#include "waveform/capture.h"

namespace pinproof::waveform {

struct Disturbance {
  enum class Kind {
    lost,     ///< a jump from one level to another
    doubled,  ///< a stretch comes twice
    apart,    ///< current and voltage switch at different times: one of them lost samples
    burst     ///< a short stretch is many times as noisy as the rest
  };
  Kind kind = Kind::lost;
  double at_s = 0;  ///< in the capture's time
};
/// A clause for people: what was seen, and when.
std::string text_of(const Disturbance& disturbance);

/// A coil's current cannot jump but where its voltage does, nor start before its
/// voltage or outlast it. A current that breaks off to nought, comes back, or
/// falls while the voltage is relieved of it, is an open winding and no
/// disturbance. Switching edges, the end of a clamp, corners and single wild
/// samples do not count, nor does anything in a modulated capture. Not seen are
/// less than 1 % of the final current and, in a slow decay, lags below a tenth of
/// the rise. Pre: fault_in(capture) is empty.
std::optional<Disturbance> find_disturbance(const Capture& capture);

}  // namespace pinproof::waveform
