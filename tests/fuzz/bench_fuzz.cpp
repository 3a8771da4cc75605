// Any bytes are a bench description or an Error; what loads has usable figures.
#include <cmath>

#include "bench/description.h"
#include "metrology/accuracy.h"
#include "targets.h"

namespace pinproof::fuzz {
namespace {

void expect_accuracy(const metrology::AccuracyTable& table) {
  for (const auto& entry : table) {
    expect(entry.range > 0 && entry.over >= 1, "a range is positive", entry.function);
    const auto u = metrology::standard_uncertainty(table, entry.function, entry.range, entry.range);
    expect(u && std::isfinite(*u) && *u >= 0, "a range holds its own end", entry.function);
    (void)metrology::pick_range(table, entry.function, entry.range / 2);
  }
}

}  // namespace

void try_bench(std::string_view input) {
  accepted(
      [&] {
        bench::Description d = bench::parse_description(input, kFile);
        for (const auto& one : d.instruments) {
          expect(!one.role.empty() && d.find(one.role) != nullptr, "a role is found", one.role);
          expect_accuracy(one.accuracy);
        }
        expect(d.time_scale > 0, "time goes on");
        expect(!d.fixture.reference || d.fixture.reference->usable(), "a reference is usable");
        expect(d.fixture.dwell_s > 0 && d.fixture.contact_u_ohm >= 0, "figures have their signs");
      },
      kFile);
}

}  // namespace pinproof::fuzz
