#include "paths.h"
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
  return Dialect::load(pinproof::tests::source_dir() + "/drivers/dialects/scpi-meter.json");
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
      {"word", "REAL"},  {"channels", std::vector<std::string>{"1!3", "2!21"}},
      {"channel", 2.0},  {"resolution", 1e-4}};
  int operations = 0;
  for (const auto& file : std::filesystem::directory_iterator(pinproof::tests::source_dir() +
                                                              "/drivers/dialects")) {
    if (file.path().extension() != ".json") continue;
    const auto dialect = Dialect::load(file.path().string());
    for (const std::string& operation : dialect.operations()) {
      const std::string message = dialect.render(operation, arguments);
      const auto space = message.find(' ');
      const auto outcome = dialect.match(
          message.substr(0, space), space == std::string::npos ? "" : message.substr(space + 1));
      INFO(file.path().string(), " ", operation, " ", message);
      // Two operations may be one command (autozero of two functions): then the
      // other renders to the same bytes.
      REQUIRE(std::holds_alternative<Call>(outcome));
      CHECK(dialect.render(recognised(outcome), arguments) == message);
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
  CHECK(refused(d.match("RES:NPLC", "")) == -109);
  CHECK(refused(d.match("CONF:RES", "100,2,3")) == -108);
  CHECK(refused(d.match("CONF:RES", "many")) == -104);
  CHECK(refused(d.match("CONF:RES", "nan")) == -104);
  CHECK(refused(d.match("READ?", "5")) == -108);
}

TEST_CASE("values that could smuggle a second command are not rendered") {
  const auto matrix =
      Dialect::load(pinproof::tests::source_dir() + "/drivers/dialects/scpi-matrix.json");
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
  // Nothing would be sent for such a node: SCPI-99 vol. 1, 6.2, puts its short form first.
  for (const char* word : {"read?", "FETCh:rEAD?", "FETCh:reAD?", "FETCh:REadING?"})
    CHECK(refusal("\"read\":\"" + std::string(word) + "\"").find("short form in capitals") !=
          std::string::npos);
}

namespace {

std::string folder() { return pinproof::tests::source_dir() + "/drivers/dialects/"; }

std::string refusal(const std::string& json) {
  try {
    (void)Dialect::parse(json, folder() + "test.json");
    return "";
  } catch (const Error& e) {
    return e.what();
  }
}

std::string child(const std::string& more) {
  return R"({"schema":"pinproof/dialect/1","name":"n","inherits":"scpi-meter",)" + more + "}";
}

}  // namespace

TEST_CASE("a dialect inherits, changes and takes away") {
  const auto d = Dialect::parse(
      child(
          R"("commands":{"ohm_4w":null,"read":"VAL1?"},"wire":{"gap_s":0.02,"compound":false,"complete":"none","reply_end":"LF CR"},"numbers":{"overload_at":1.2e8})"),
      folder() + "test.json");
  CHECK(d.role() == "meter");
  CHECK_FALSE(d.has("ohm_4w"));
  CHECK(d.has("ohm_2w"));
  CHECK(d.render("read") == "VAL1?");
  CHECK(refused(d.match("READ?", "")) == -113);
  CHECK(d.wire().gap_s == 0.02);
  CHECK_FALSE(d.wire().compound);
  CHECK(d.wire().reply_end == "\n\r");
  CHECK(d.numbers().overload_at == 1.2e8);
  CHECK(refusal(child(R"("commands":{"flute":null})")).find("was not inherited") !=
        std::string::npos);
  CHECK(refusal(child(R"("role":"supply","commands":{})")).find("differs from the inherited") !=
        std::string::npos);
  CHECK(refusal(child(R"("wire":{"line_end":"TAB"},"commands":{})")).find("/wire/line_end") !=
        std::string::npos);
  CHECK(refusal(child(R"("commands":{},"shell":"rm")")).find("shell") != std::string::npos);
  CHECK(
      refusal(
          R"({"schema":"pinproof/dialect/1","name":"n","inherits":"../scpi-meter","commands":{}})")
          .find("not a path") != std::string::npos);
}

TEST_CASE("identities choose a dialect") {
  const auto d = Dialect::parse(
      child(
          R"("identity":{"like":["GW*,GDM8255A,*","OWON,XDM*"],"example":"OWON,XDM1041,1,2"},"commands":{})"),
      folder() + "test.json");
  for (const char* fits : {"GW,GDM8255A,1,2", "GWInstek,GDM8255A,,", "OWON,XDM2041,3,V1"})
    CHECK(d.fits(fits));
  for (const char* other : {"", "GW,GDM8251A,1,2", "XOWON,XDM1041,1,2", "OWON", "owon,xdm1041"})
    CHECK_FALSE(d.fits(other));
  CHECK(meter().fits("anything at all"));
  CHECK(refusal(child(R"("identity":{"like":["A,*"],"example":"B,1"},"commands":{})"))
            .find("fits none") != std::string::npos);
  // No identity of the project's dialects is claimed by two of them.
  const auto all = scpi::load_dialects(folder());
  for (const auto& one : all) {
    if (one.identity_example().empty()) continue;
    int claims = 0;
    for (const auto& other : all)
      if (other.names_instruments() && other.fits(one.identity_example())) ++claims;
    INFO(one.name());
    CHECK(claims == 1);
  }
}

TEST_CASE("channels in each spelling") {
  const auto channel = [](const char* name, const char* row, const char* column) {
    return Dialect::load(folder() + name + ".json").channel(row, column);
  };
  CHECK(channel("scpi-matrix", "1", "21") == "1!21");
  CHECK(channel("scpi-matrix-digits", "3", "7") == "307");
  CHECK(channel("scpi-matrix-module", "5", "0") == "5(0)");
  CHECK(channel("scpi-relays", "64", "21") == "85");
  CHECK_THROWS_AS((void)channel("scpi-relays", "a", "21"), Error);
  for (const char* wrong : {"{row", "{pin}", "{row};{column}", "{row:0}", "{row:12}"})
    CHECK(refusal(R"({"schema":"pinproof/dialect/1","name":"n","role":"matrix","channel":")" +
                  std::string(wrong) + R"(","commands":{}})")
              .find("/channel") != std::string::npos);
}

// Source: limits of the 34401A's service guide at full scale, one year: 100 ohm
// 14 milliohm, 1 kohm 110 milliohm, 10 kohm 1.1 ohm, 1 V 47 uV, 10 V 400 uV.
TEST_CASE("the 34401A's table adds up to the limits of its service guide") {
  const auto table = Dialect::load(folder() + "meter-34401a.json").accuracy();
  const auto limit = [&](std::string_view function, double range) {
    const auto u = metrology::standard_uncertainty(table, function, range, range);
    REQUIRE(u);
    return *u * std::sqrt(3.0);  // a rectangle's half width
  };
  CHECK(limit("ohm-4w", 100) == doctest::Approx(14e-3));
  CHECK(limit("ohm-4w", 1e3) == doctest::Approx(110e-3));
  CHECK(limit("ohm-4w", 1e4) == doctest::Approx(1.1));
  CHECK(limit("volt", 1) == doctest::Approx(47e-6));
  CHECK(limit("volt", 10) == doctest::Approx(400e-6));
}

TEST_CASE("parameters that may be left out, and words in place of numbers") {
  const auto d = meter();
  CHECK(d.render("ohm_2w") == "CONF:RES");
  CHECK(d.render("ohm_2w", {{"range", 100.0}}) == "CONF:RES 100");
  CHECK(recognised(d.match("CONF:RES", "DEF")) == "ohm_2w");
  CHECK(recognised(d.match("CONF:RES", "MAX,MIN")) == "ohm_2w");
  CHECK(refused(d.match("CONF:RES", "SOMETIMES")) == -104);
  const auto quoted = Dialect::load(folder() + "meter-keithley-2000.json");
  CHECK(quoted.render("ohm_4w") == "FUNC \"FRESistance\"");
  CHECK(recognised(quoted.match("SENS:FUNC", "\"fresistance\"")) == "ohm_4w");
  CHECK(refused(quoted.match("SENS:FUNC", "\"CURR\"")) == -224);
  const auto scope = Dialect::load(folder() + "scpi-scope.json");
  CHECK(scope.render("range", {{"channel", 3.0}, {"range", 0.5}}) == "CHAN3:RANG 0.5");
  const auto call = scope.match("CHANnel2:RANGe", "20");
  REQUIRE(recognised(call) == "range");
  CHECK(std::get<double>(std::get<Call>(call).arguments.at("channel")) == 2);
  CHECK(refused(scope.match("CHAN:RANG", "20")) == -113);
}
