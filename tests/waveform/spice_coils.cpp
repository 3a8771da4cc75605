#include "paths.h"
#include "waveform/spice_coils.h"

#include <doctest/doctest.h>

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>

#include "waveform/files.h"

namespace pinproof::waveform {
namespace {

namespace fs = std::filesystem;

constexpr double kOn_s = 2.0005e-3;  // the switch's threshold in pack.inc

void scale(SpiceCoil& coil, const std::string& name, double factor) {
  coil.parameters[name] *= factor;
}

// Immovable, where it stands.
void jam(SpiceCoil& coil, double at_mm) {
  coil.parameters["mp"] = 1e4;
  coil.parameters["y0"] = at_mm;
}

std::string netlist(const SpiceCoil& coil, double off_s, double end_s) {
  std::ostringstream out;
  out << "* " << coil.name << "\n";
  for (const auto& [name, value] : coil.parameters)
    out << ".param " << name << "=" << value << "\n";
  out << ".param toff=" << off_s << "\n.include " << pinproof::tests::data_dir()
      << "/netlists/pack.inc\n.control\nset wr_singlescale\nset wr_vecnames\nset numdgt=9\n"
      << "tran 2.5u " << end_s << " 0 2u uic\nlinearize\n"
      << "let current=i(Vm)\nlet volts=v(c0)-v(sw)\nlet lam=v(lam)\nlet y=v(y)\n"
      << "wrdata states.txt current volts lam y\nquit\n.endc\n.end\n";
  return out.str();
}

}  // namespace

std::vector<SpiceCoil> spice_coils() {
  std::istringstream in(data_file("netlists/coils.tsv"));
  std::vector<SpiceCoil> out;
  std::vector<std::string> names;
  for (std::string line; std::getline(in, line);) {
    std::istringstream words(line);
    std::vector<std::string> row;
    for (std::string word; std::getline(words, word, '\t');) row.push_back(word);
    if (row[0] == "#name") names = row;
    if (row[0].starts_with("#")) continue;
    SpiceCoil coil{row[0], row[1] == "variable", {}};
    for (std::size_t c = 2; c < row.size(); ++c) coil.parameters[names[c]] = std::stod(row[c]);
    for (const auto& [name, value] : std::map<std::string, double>{
             {"Rsrc", 0.1}, {"Rx", 0}, {"p", 0}, {"Rsh", 1e-3}, {"Fjam", 0}, {"y0", -0.0003}})
      coil.parameters[name] = value;
    out.push_back(coil);
  }
  return out;
}

const std::vector<SpiceFault>& spice_faults() {
  static const std::vector<SpiceFault> table{
      {"healthy", "", [](SpiceCoil&) {}},
      {"open", "coil-open", [](SpiceCoil& c) { c.parameters["Rx"] = 1e7; }},
      {"shorted", "coil-shorted",
       [](SpiceCoil& c) {
         c.parameters["p"] = 0.97;
         c.parameters["Rsrc"] = 0.05;
       }},
      {"5 % of the turns", "shorted-turns", [](SpiceCoil& c) { c.parameters["p"] = 0.05; }},
      {"15 % of the turns", "shorted-turns", [](SpiceCoil& c) { c.parameters["p"] = 0.15; }},
      {"contact", "series-resistance", [](SpiceCoil& c) { c.parameters["Rx"] = 0.2 * c.at("Rc"); }},
      {"stuck open", "stuck-at-rest", [](SpiceCoil& c) { jam(c, -0.0003); }},
      {"stuck seated", "stuck-seated", [](SpiceCoil& c) { jam(c, c.at("Smm")); }},
      {"sticky", "sticky",
       [](SpiceCoil& c) {
         c.parameters["Fjam"] = 0.9 * c.at("Fp");
         scale(c, "bv", c.variable ? 3 : 10);
       }},
      {"weak spring", "weak-spring",
       [](SpiceCoil& c) {
         scale(c, "Fp", 0.3);
         scale(c, "ks", 0.3);
       }},
      {"weak magnet", "wrong-or-weak-part", [](SpiceCoil& c) { scale(c, "kk", 0.7); }},
      {"weak supply", "weak-supply", [](SpiceCoil& c) { c.parameters["Rsrc"] = 0.3 * c.at("Rc"); }},
      {"suppression missing", "suppression-missing",
       [](SpiceCoil& c) { c.parameters["Vz"] = 75; }}};
  return table;
}

SpiceRun run_spice(const SpiceCoil& coil) {
  const double tau = coil.at("kk") / (coil.at("g0") * 1e-3) / coil.at("Rc");  // seated
  const double off_s = 2e-3 + std::max(0.03, 9 * tau), end_s = off_s + 0.025;
  std::string dir = (fs::temp_directory_path() / "coil-XXXXXX").string();
  REQUIRE(mkdtemp(dir.data()) != nullptr);
  std::ofstream(dir + "/coil.cir") << netlist(coil, off_s, end_s);
  const std::string command = "cd '" + dir + "' && ngspice -b coil.cir > log 2>&1";
  const int code = std::system(command.c_str());
  const std::string log = text_of_file(dir + "/log");
  REQUIRE_MESSAGE(code == 0, "ngspice is needed on the PATH: ", log);
  REQUIRE_MESSAGE(log.find("aborted") == std::string::npos, log);
  std::istringstream in(text_of_file(dir + "/states.txt"));
  fs::remove_all(dir);
  std::string header;
  std::getline(in, header);
  SpiceRun out;
  out.capture.interval_s = 2.5e-6;
  const double stroke = coil.at("Smm"), off_at = off_s + 0.5e-6;
  double t = 0, amps = 0, volts = 0, flux = 0, y = 0;
  while (in >> t >> amps >> volts >> flux >> y) {
    if (std::isnan(out.begin_s) && y >= 0.02 * stroke) out.begin_s = t - kOn_s;
    if (std::isnan(out.seat_s) && y >= stroke) out.seat_s = t - kOn_s;
    if (t > off_at && std::isnan(out.back_s) && y <= 0) out.back_s = t - off_at;
    out.capture.current_A.push_back(amps);
    out.capture.voltage_V.push_back(volts);
  }
  REQUIRE(out.capture.current_A.size() > 1000);
  return out;
}

}  // namespace pinproof::waveform
