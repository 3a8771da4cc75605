// One coil's capture with all that was made of it, as text, JSON and a page.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "waveform/compare.h"
#include "waveform/duty.h"
#include "waveform/magnetics.h"
#include "waveform/margin.h"

namespace pinproof::report {

struct HotMargin {
  waveform::Margin margin;
  double celsius = 0, supply_V = 0;  ///< the profile's hot state
  Estimate ends_celsius;             ///< where the margin is used up
};

struct CoilStudy {
  std::string name;  ///< of the capture's file or the coil
  waveform::Capture capture;
  waveform::CoilFigures figures;
  std::vector<waveform::CoilFinding> findings;  ///< explained, best first
  waveform::Magnetics magnetics;
  waveform::DutySweep duty;  ///< levels empty where it is no sweep
  bool modulated = false;    ///< then only `duty` is filled
  Estimate celsius;          ///< of the winding; NaN where not given
  Estimate resistance_20_ohm;
  std::optional<HotMargin> hot;
  std::optional<waveform::Distance> distance;
  std::vector<waveform::Capture> known_good;  ///< for the overlay, with their onsets
  std::vector<double> known_good_onset_s;
};

std::string coil_text(const CoilStudy& study);
std::string coil_json(const CoilStudy& study);
std::string coil_html(const CoilStudy& study);

}  // namespace pinproof::report
