#include <algorithm>
#include <array>

#include "quantity/error.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {

std::span<const Driver* const> drivers() {
  static constexpr std::array kDrivers{&kMeter, &kMatrix, &kDigitiser, &kSupply, &kActuator};
  return kDrivers;
}

void install_instruments(const bench::Description& bench, const std::string& dialect_folder,
                         const bench::Patience& patience, bench::Instruments& instruments) {
  for (const bench::InstrumentDescription& one : bench.instruments) {
    if (one.driver != "scpi") continue;
    const auto all = drivers();
    const auto driver =
        std::find_if(all.begin(), all.end(), [&](const Driver* d) { return d->role == one.role; });
    if (driver == all.end())
      throw Error(Fault::usage,
                  "bench \"" + bench.name + "\": no scpi driver for the role \"" + one.role + "\"");
    Dialect dialect = Dialect::load(dialect_folder + "/" + one.dialect + ".json");
    if (dialect.role() != one.role)
      throw Error(Fault::usage, "bench \"" + bench.name + "\": dialect \"" + one.dialect +
                                    "\" is for the role \"" + dialect.role() +
                                    "\", the instrument's is \"" + one.role + "\"");
    Session session(one.role, link::open_link(one.address), std::move(dialect));
    session.open(patience);
    (*driver)->install(std::move(session), one, bench, instruments);
  }
}

}  // namespace pinproof::scpi
