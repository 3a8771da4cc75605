// Any bytes are written readings or an Error; what loads is diagnosed on a pack of profiles/:
// probabilities are probabilities, and every name exists.
#include <cmath>

#include "diagnosis/conclusion.h"
#include "diagnosis/cover.h"
#include "diagnosis/intermittent.h"
#include "diagnosis/observe.h"
#include "packs.h"
#include "record/readings.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

constexpr std::size_t kMostReadings = 8;  // each weighs hundreds of suspects
constexpr double kNoise_ohm = 0.05;

// As pinproof diagnose does, but for the list of questions, which takes long to find.
struct Desk {
  explicit Desk(const profile::Profile& profile)
      : model(profile),
        scene(model, diagnosis::usual_situations(profile)),
        suspects(diagnosis::suspects_of(model)),
        probes(diagnosis::probes_of(scene, {.lever = true, .tie = false, .source = false})),
        list{0, 1, 2} {}
  network::Model model;
  diagnosis::Scene scene;
  std::vector<diagnosis::Suspect> suspects;
  std::vector<diagnosis::Probe> probes;
  std::vector<std::size_t> list;
};

void expect_ranking(const diagnosis::Conclusion& conclusion) {
  for (const auto& [part, probability] : conclusion.by_part)
    expect(probability >= 0 && probability <= 1 + 1e-9, "a probability", part);
  double sum = 0;
  for (const auto& one : conclusion.named) {
    expect(one.probability >= 0 && one.probability <= 1 + 1e-9, "a probability", text_of(one));
    sum += one.probability;
  }
  expect(sum <= 1 + 1e-6, "no more than all", conclusion.sentence);
}

void diagnose(const record::WrittenReadings& written) {
  static const Desk kDesk(four_speed());
  diagnosis::Scene scene = kDesk.scene;  // situations of the input are added
  const auto observations = diagnosis::observe(scene, written, kFile);
  diagnosis::ConclusionInput input;
  input.scene = &scene, input.suspects = &kDesk.suspects, input.probes = &kDesk.probes,
  input.list = &kDesk.list;
  input.held = diagnosis::held_of(scene, written, kFile);
  input.readings = observations;
  input.noise_ohm = kNoise_ohm;
  diagnosis::Search search(scene, kDesk.suspects, kDesk.probes, kDesk.list, {});
  search.add_all(observations);
  expect_ranking(diagnosis::conclude(input, search.ranking(), search.next()));
}

}  // namespace

void try_readings(std::string_view input) {
  accepted(
      [&] {
        auto written = record::readings_from_json(input, kFile);
        for (const auto& one : written.readings)
          expect(!std::isnan(one.ohm) && one.u_ohm >= 0, "figures of a reading", one.pointer);
        if (written.readings.size() <= kMostReadings) diagnose(written);
      },
      kFile);
}

}  // namespace pinproof::fuzz
