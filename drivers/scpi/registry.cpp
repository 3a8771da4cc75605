#include <algorithm>
#include <array>

#include "quantity/error.h"
#include "scpi/instruments.h"

namespace pinproof::scpi {

// The one table of SCPI drivers.
std::span<const Driver* const> drivers() {
  static const std::array kDrivers{&kMeter, &kMatrix, &kDigitiser, &kSupply, &kActuator};
  return kDrivers;
}

namespace {

const Driver& driver_for(const bench::InstrumentDescription& one, const std::string& bench) {
  for (const Driver* driver : drivers())
    if (driver->role == one.role) return *driver;
  throw Error(Fault::usage,
              "bench \"" + bench + "\": no scpi driver for the role \"" + one.role + "\"");
}

void expect_dialect(const Dialect& dialect, const Driver& driver,
                    const bench::InstrumentDescription& one, const std::string& bench) {
  const std::string where = "bench \"" + bench + "\": dialect \"" + one.dialect + "\"";
  if (dialect.role() != one.role)
    throw Error(Fault::usage, where + " is for the role \"" + dialect.role() +
                                  "\", the instrument's is \"" + one.role + "\"");
  for (const std::string_view operation : driver.needs)
    if (!dialect.has(operation))
      throw Error(Fault::usage, where + " has no " + std::string(operation) + ", which every " +
                                    one.role + " needs");
}

// The off messages as bytes, for whoever must switch off without a dialect.
LinkWanted wanted(const Dialect& dialect, const bench::InstrumentDescription& one) {
  LinkWanted out{one.role, one.address, {}, {}};
  if (one.role != "supply") return out;
  const std::string& end = dialect.wire().line_end;
  // The first line end closes half a line that a dead program may have left.
  out.off = end;
  if (one.channel > 0)
    out.off += dialect.render("select", {{"channel", static_cast<double>(one.channel)}}) + end;
  out.off += dialect.render("output", {{"switch", 0.0}}) + end;
  out.off_query = dialect.render("output?") + end;
  return out;
}

}  // namespace

void install(bench::InstrumentDescription& instrument, const bench::Description& bench,
             const std::string& dialect_folder, const OpenLink& open,
             const bench::Patience& patience, bench::Instruments& instruments) {
  const Driver& driver = driver_for(instrument, bench.name);
  Dialect dialect = Dialect::load(dialect_folder + "/" + instrument.dialect + ".json");
  expect_dialect(dialect, driver, instrument, bench.name);
  if (instrument.accuracy.empty()) instrument.accuracy = dialect.accuracy();
  if (instrument.role == "meter" && instrument.accuracy.empty())
    throw Error(Fault::usage, "bench \"" + bench.name +
                                  "\": the meter needs its accuracy table, since the dialect " +
                                  dialect.name() +
                                  " has none: without it no reading has an uncertainty");
  const LinkWanted link = wanted(dialect, instrument);
  Session session(instrument.role, open(link), std::move(dialect));
  session.open(patience);
  driver.install(std::move(session), instrument, bench, instruments);
}

void install_instruments(bench::Description& bench, const std::string& dialect_folder,
                         const bench::Patience& patience, bench::Instruments& instruments) {
  const OpenLink plain = [](const LinkWanted& link) { return link::open_link(link.address); };
  for (bench::InstrumentDescription& one : bench.instruments)
    if (one.driver == "scpi") install(one, bench, dialect_folder, plain, patience, instruments);
}

}  // namespace pinproof::scpi
