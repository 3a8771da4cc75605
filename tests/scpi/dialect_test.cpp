#include "scpi/dialect.h"

#include <doctest/doctest.h>

#include <cmath>
#include <filesystem>

#include "quantity/error.h"

using namespace pinproof;
using scpi::Call;
using scpi::Dialect;
using scpi::Refusal;

namespace {

Dialect meter() {
  return Dialect::load(std::string(PINPROOF_SOURCE_DIR) + "/drivers/dialects/scpi-meter.json");
}

int refused(const std::variant<Call, Refusal>& outcome) {
  const auto* refusal = std::get_if<Refusal>(&outcome);
  return refusal ? refusal->number : 0;
}

std::string recognised(const std::variant<Call, Refusal>& outcome) {
  const auto* call = std::get_if<Call>(&outcome);
  return call ? call->operation : "";
}

}  // namespace

TEST_CASE("what a dialect renders it recognises, for every dialect file of the project") {
  const scpi::Arguments arguments{
      {"range", 100.0},  {"nplc", 1.0},
      {"seconds", 0.02}, {"volts", 13.5},
      {"amperes", 1.25}, {"pascals", 6e5},
      {"count", 4000.0}, {"switch", 1.0},
      {"word", "REAL"},  {"channels", std::vector<std::string>{"1!3", "2!21"}}};
  int operations = 0;
  for (const auto& file : std::filesystem::directory_iterator(std::string(PINPROOF_SOURCE_DIR) +
                                                              "/drivers/dialects")) {
    const auto dialect = Dialect::load(file.path().string());
    for (const std::string& operation : dialect.operations()) {
      const std::string message = dialect.render(operation, arguments);
      const auto space = message.find(' ');
      const auto outcome = dialect.match(
          message.substr(0, space), space == std::string::npos ? "" : message.substr(space + 1));
      INFO(file.path().string(), " ", operation, " ", message);
      CHECK(recognised(outcome) == operation);
      ++operations;
    }
  }
  CHECK(operations > 40);
}

// Source: SCPI-99 vol. 1, 6.2.1 (mnemonic forms): exactly the long or the short form, in any case.
TEST_CASE("long and short forms, and nothing between") {
  const auto d = meter();
  for (const char* header :
       {"CONF:FRES", "CONFigure:FRESistance", "conf:fresistance", "Configure:Fres"})
    CHECK(recognised(d.match(header, "100")) == "ohm_4w");
  for (const char* header :
       {"CONFI:FRES", "CON:FRES", "CONF:FRESI", "CONF", "CONF:FRES:X", "CONF:FRES?"})
    CHECK(refused(d.match(header, "100")) == -113);
  CHECK(recognised(d.match("SENS:RES:NPLC", "1")) == "nplc_ohm_2w");
  CHECK(recognised(d.match("RES:NPLC", "+1.0E0")) == "nplc_ohm_2w");
}

// Source: SCPI-99 vol. 2, 21.8 (error numbers), meanings as used by instruments.
TEST_CASE("wrong parameters are refused by their numbers") {
  const auto d = meter();
  CHECK(refused(d.match("CONF:RES", "")) == -109);
  CHECK(refused(d.match("CONF:RES", "100,2")) == -108);
  CHECK(refused(d.match("CONF:RES", "many")) == -104);
  CHECK(refused(d.match("CONF:RES", "nan")) == -104);
  CHECK(refused(d.match("READ?", "5")) == -108);
}

TEST_CASE("values that could smuggle a second command are not rendered") {
  const auto matrix =
      Dialect::load(std::string(PINPROOF_SOURCE_DIR) + "/drivers/dialects/scpi-matrix.json");
  for (const char* channel : {"1!2);:OUTP ON", "1!2\nOUTP ON", "", "1!2,3!4", "\"x\""})
    CHECK_THROWS_AS((void)matrix.render("close", {{"channels", std::vector<std::string>{channel}}}),
                    Error);
  CHECK(matrix.render("close", {{"channels", std::vector<std::string>{"1!2"}}}) ==
        "ROUT:CLOS (@1!2)");
  CHECK_THROWS_AS((void)meter().render("ohm_2w", {{"range", NAN}}), Error);
  CHECK_THROWS_AS((void)meter().render("no_such", {}), Error);
}

TEST_CASE("dialect files that are refused") {
  const auto refusal = [](const std::string& commands) -> std::string {
    try {
      (void)Dialect::parse(
          "{\"schema\":\"pinproof/dialect/1\",\"name\":\"n\",\"role\":\"meter\",\"commands\":{" +
              commands + "}}",
          "d.json");
      return "";
    } catch (const Error& e) {
      return e.what();
    }
  };
  CHECK(refusal("\"read\":\"READ?\"").empty());
  CHECK(refusal("\"read\":\"READ? {volume}\"")
            .find("/commands/read: \"{volume}\" is not a placeholder") != std::string::npos);
  CHECK(refusal("\"read\":\"[SENSe:READ?\"").find("bracket") != std::string::npos);
  CHECK(refusal("\"read\":\"\"").find("no header") != std::string::npos);
  CHECK(refusal("\"read\":\"RE;AD\"").find("cannot stand in a header") != std::string::npos);
}
