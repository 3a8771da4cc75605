// Any bytes are a profile or an Error. What loads keeps what load.h promises, can be linted,
// modelled and planned for.
#include <algorithm>

#include "inspection/checks/plan.h"
#include "lever/code.h"
#include "lever/taps.h"
#include "network/model.h"
#include "network/reach.h"
#include "profile/lint.h"
#include "profile/load.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

// A model is a dense matrix of its nodes: wide connectors only cost time here.
constexpr std::size_t kMostModelled = 40;

void expect_references(const profile::Profile& p) {
  const auto node = [&](const std::string& name) {
    return name == profile::kCase || p.is_pin(name) ||
           std::find(p.nodes.begin(), p.nodes.end(), name) != p.nodes.end();
  };
  for (const profile::Part& part : p.parts) {
    expect(node(part.between[0]) && node(part.between[1]), "a part's ends exist", part.name);
    expect(part.between[0] != part.between[1], "a part has two ends", part.name);
    expect(p.find_part(part.name) == &part, "a part's name is its own", part.name);
  }
  for (const profile::Gear& gear : p.gears)
    for (const std::string& coil : gear.energised)
      expect(p.find_part(coil) && p.find_part(coil)->coil(), "a gear energises coils", coil);
  if (!p.lever) return;
  for (const std::string& line : p.lever->lines)
    expect(p.find_part(line) && p.find_part(line)->contact(), "a lever's lines are contacts", line);
  for (const auto& position : p.lever->positions)
    expect(position.code.size() == p.lever->lines.size(), "a code has a bit a line", position.name);
}

void use_lever(const profile::Profile& p) {
  const lever::RangeCode code = lever::code_of(p);
  expect(code.words.size() == code.positions.size(), "a word a position");
  for (const lever::Tap& tap : lever::taps_of(p, code)) {
    (void)lever::doubtful_ohm(p, code, tap);
    (void)lever::bits_of(p, code, tap, 5);
  }
}

void use_network(const profile::Profile& p) {
  const network::PackState rest = inspection::rest_state(p);
  (void)network::circuits(p, rest);
  for (const auto& pair : network::contact_pairs(p)) (void)network::expectation(p, pair, rest);
  if (p.connector.pins.size() + p.nodes.size() + p.parts.size() > kMostModelled) return;
  const network::Model model(p);
  expect(model.terminals() <= model.nodes(), "terminals are nodes");
  (void)model.good({rest, {}, false, false, {}});
}

void use_plan(const profile::Profile& p, bool full) {
  inspection::Capabilities can;
  can.tie = can.lever = can.celsius = can.reference = true;
  can.drive = full, can.supply_max_V = 20, can.supply_max_A = 5;
  for (const auto& step : inspection::make_plan(p, can, full).steps)
    expect(!step.key.check.empty(), "a step belongs to a check");
}

}  // namespace

void try_profile(std::string_view input) {
  accepted(
      [&] {
        const auto p = profile::parse_profile(input, kFile);
        expect_references(p);
        (void)profile::lint(p);
        expect(p.hash == profile::parse_profile(input, kFile).hash, "equal bytes, equal hash");
        // What is loaded may still be refused by who uses it, in words.
        if (p.lever) accepted([&] { use_lever(p); });
        accepted([&] { use_network(p), use_plan(p, false), use_plan(p, true); });
      },
      kFile);
}

}  // namespace pinproof::fuzz
