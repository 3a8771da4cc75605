// The forward model against ngspice: random networks and random faulty packs, all in one operating
// point. What ngspice solves is written here from the meaning of each fault, not by our edits.
#include <doctest/doctest.h>
#include <unistd.h>

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>
#include <random>
#include <sstream>
#include <string>
#include <vector>

#include "diagnosis/scene.h"
#include "network/edit.h"
#include "paths.h"
#include "profile/load.h"

using namespace pinproof;
using network::Edge;
using network::Resistances;

namespace {

// One netlist of many networks that share nothing but ground; each drives one ampere from a to b,
// which is ground, and asks for the voltage between c and d.
class Deck {
 public:
  std::size_t add(const std::vector<std::pair<std::pair<std::string, std::string>, double>>& ohms,
                  const std::string& a, const std::string& b, const std::string& c,
                  const std::string& d) {
    const std::string prefix = "n" + std::to_string(count_) + "_";
    const auto node = [&](const std::string& name) { return name == b ? "0" : prefix + name; };
    for (const auto& [ends, ohm] : ohms) {
      netlist_ << "R" << resistors_++ << " " << node(ends.first) << " " << node(ends.second) << " ";
      char text[40];
      std::snprintf(text, sizeof text, "%.17g", ohm);
      netlist_ << text << "\n";
    }
    netlist_ << "I" << count_ << " 0 " << node(a) << " DC 1\n";
    const auto volt = [&](const std::string& name) {
      return name == b ? std::string("0") : "v(" + prefix + name + ")";
    };
    prints_ << "let x" << count_ << " = " << volt(c) << " - " << volt(d) << "\nprint x" << count_
            << "\n";
    return count_++;
  }

  std::map<std::size_t, double> solved() const {
    char folder[] = "/tmp/pinproof-spice-XXXXXX";
    REQUIRE(mkdtemp(folder) != nullptr);
    const std::string base = folder;
    std::ofstream(base + "/deck.cir")
        << "resistor networks\n"
        << netlist_.str()
        << ".options gmin=1e-30 reltol=1e-12 abstol=1e-18 vntol=1e-15\n.control\n"
           "set numdgt=15\nop\n"
        << prints_.str() << "quit\n.endc\n.end\n";
    const int code =
        std::system(("ngspice -b " + base + "/deck.cir > " + base + "/out.txt 2>&1").c_str());
    CHECK(code == 0);
    std::ifstream out(base + "/out.txt");
    std::map<std::size_t, double> values;
    for (std::string line; std::getline(out, line);) {
      std::size_t index = 0;
      double value = 0;
      if (std::sscanf(line.c_str(), "x%zu = %lf", &index, &value) == 2) values[index] = value;
    }
    std::system(("rm -rf " + base).c_str());
    return values;
  }

 private:
  std::ostringstream netlist_, prints_;
  std::size_t count_ = 0, resistors_ = 0;
};

using Ohms = std::vector<std::pair<std::pair<std::string, std::string>, double>>;

double log_uniform(std::mt19937_64& random, double low, double high) {
  return std::exp(std::uniform_real_distribution<double>(std::log(low), std::log(high))(random));
}

std::string text(std::size_t node) { return std::to_string(node); }

// What each edit means for the list of resistors.
void write_edit(const network::Model& model, const network::Edit& edit, double size,
                std::vector<double>& element_ohm, Ohms& bridges) {
  using Kind = network::EditKind;
  // At rest and cold: what shows under load or hot is not there.
  if (edit.when == network::When::load || edit.when == network::When::hot) return;
  const double its = edit.fixed.value_or(size);
  if (edit.kind == Kind::bridge) {
    bridges.push_back({{text(edit.a), text(edit.b)}, its});
    return;
  }
  double& ohm = element_ohm[edit.element];
  const bool closed = std::isfinite(ohm);
  if (edit.kind == Kind::series && closed) ohm += its;
  if (edit.kind == Kind::factor && closed) ohm *= its;
  if (edit.kind == Kind::become && closed) ohm = its;
  if (edit.kind == Kind::shut) ohm = its;
  if (edit.kind == Kind::share) ohm -= its * 2 * model.elements()[edit.element].ohm;
}

}  // namespace

TEST_CASE("200 random networks with random faults agree with ngspice to 1e-6") {
  Deck deck;
  std::map<std::size_t, double> ours, scale;
  std::mt19937_64 random(2024);
  const auto pick = [&](std::size_t n) { return random() % n; };

  // Random graphs: a tree that joins all, more edges, then faults: one added, one weakened.
  for (int k = 0; k < 100; ++k) {
    const std::size_t n = 5 + pick(19);
    std::vector<Edge> edges;
    for (std::size_t i = 1; i < n; ++i)
      edges.push_back({i, pick(i), 1 / log_uniform(random, 0.05, 1e8)});
    for (std::size_t i = 0; i < n; ++i) {
      const std::size_t a = pick(n), b = pick(n);
      if (a != b) edges.push_back({a, b, 1 / log_uniform(random, 0.05, 1e8)});
    }
    auto r = Resistances::of(n, edges);
    const std::size_t a = pick(n), b = (a + 1 + pick(n - 1)) % n;
    const Edge more{a, b, 1 / log_uniform(random, 0.05, 1e6)};
    r.add(more);
    edges.push_back(more);
    Edge& weakened = edges[pick(edges.size())];
    const double less = 0.6 * weakened.siemens;
    r.add({weakened.a, weakened.b, -less});
    weakened.siemens -= less;
    Ohms ohms;
    for (const Edge& e : edges) ohms.push_back({{text(e.a), text(e.b)}, 1 / e.siemens});
    const std::size_t p = pick(n), q = (p + 1 + pick(n - 1)) % n;
    ours[deck.add(ohms, text(p), text(q), text(p), text(q))] = r(p, q);
  }

  // Packs of the demo profile in random situations with two random suspects at random sizes.
  const auto profile =
      profile::load_profile(pinproof::tests::source_dir() + "/profiles/six-speed-20-pin.json");
  network::ModelOptions options;
  // ngspice factors nodal matrices: joints of 200 S beside 1e-8 S would cost it six digits
  // (tests/speed/fault_speed.cpp shows what becomes of such matrices).
  options.insulation_S = 1e-6;
  const network::Model model(profile, options);
  const diagnosis::Scene scene(model, diagnosis::usual_situations(profile));
  const auto suspects = diagnosis::suspects_of(model);
  for (int k = 0; k < 100; ++k) {
    const std::size_t situation = pick(scene.situations().size());
    std::vector<diagnosis::Guess> faults;
    while (faults.size() < 2) {
      const auto& suspect = suspects[pick(suspects.size())];
      const bool order = !suspect.moved.empty();
      if (faults.size() == 1 && (order || faults[0].suspect->part == suspect.part)) continue;
      const double size = suspect.sized() ? log_uniform(random, suspect.size.low, suspect.size.high)
                                          : suspect.size.low;
      faults.push_back({&suspect, size});
    }
    const auto altered = scene.altered(situation, faults);
    std::vector<double> element_ohm = scene.good(situation).ohm;
    Ohms bridges, ohms;
    std::map<std::string, std::string> behind;  // of a pin's place: the node that belongs there
    for (const auto& guess : faults) {
      for (const auto& edit : guess.suspect->edits)
        write_edit(model, edit, guess.size, element_ohm, bridges);
      for (const auto& [here, belongs] : guess.suspect->moved) behind[text(belongs)] = text(here);
    }
    const auto placed = [&](std::size_t node) {
      const auto it = behind.find(text(node));
      return it == behind.end() ? text(node) : it->second;
    };
    for (std::size_t e = 0; e < element_ohm.size(); ++e) {
      const auto& element = model.elements()[e];
      const double ohm = std::min(element_ohm[e], network::kOpenCircuit_ohm);
      ohms.push_back({{placed(element.a), placed(element.b)}, ohm});
    }
    const std::size_t body = *model.find("case");
    for (std::size_t pin = 0; pin < body; ++pin)
      ohms.push_back({{placed(pin), text(body)}, 1 / options.insulation_S});
    ohms.insert(ohms.end(), bridges.begin(), bridges.end());
    const std::size_t n = model.terminals();
    const std::size_t a = pick(n), b = (a + 1 + pick(n - 1)) % n;
    // Every third reads at other terminals than it drives.
    const std::size_t c = k % 3 ? a : pick(n), d = k % 3 ? b : (c + 1 + pick(n - 1)) % n;
    ours[deck.add(ohms, text(a), text(b), text(c), text(d))] =
        altered.resistances.transfer(a, b, c, d);
    // A small voltage between two large ones has their digits.
    scale[ours.size() - 1] = 0.1 * altered.resistances(a, b);
  }

  const auto theirs = deck.solved();
  REQUIRE(theirs.size() == 200);
  double worst = 0;
  for (const auto& [index, ohm] : ours) {
    const double off = std::abs(ohm - theirs.at(index)) /
                       std::max({std::abs(theirs.at(index)), scale[index], 1.0});
    worst = std::max(worst, off);
    CAPTURE(index);
    CAPTURE(ohm);
    CAPTURE(theirs.at(index));
    CHECK(off < 1e-6);
  }
  std::printf("200 networks against ngspice: greatest difference %.1e (relative, or ohm below 1)\n",
              worst);
}
