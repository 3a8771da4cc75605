// The coil's figures in JSON, for the report and the coil command alike. Only for
// the report folder's own sources: it brings the JSON library.
#pragma once

#include <nlohmann/json.hpp>

#include "waveform/coil_figures.h"

namespace pinproof::report {

nlohmann::ordered_json figures_json(const waveform::CoilFigures& figures);

}  // namespace pinproof::report
