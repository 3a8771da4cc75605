// How a fit ended. Inside the waveform folder only.
#pragma once

namespace pinproof::waveform {

enum class FitStatus { ok, too_few_samples, no_minimum };

}  // namespace pinproof::waveform
