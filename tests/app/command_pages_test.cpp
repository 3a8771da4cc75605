// The tree of commands as plain data, and the manual and completions that are made of it.
#include <doctest/doctest.h>

#include <CLI/CLI.hpp>
#include <stdexcept>

#include "app/command.h"
#include "app/documents/completions.h"
#include "app/documents/manual.h"
#include "app/documents/pages.h"
#include "app/values.h"

using namespace pinproof::app;

namespace {

using Names = std::vector<std::string>;

struct Tree {
  double share = 0.5;
  std::string way = "slow", file, profile, folder, text, first;
  std::vector<std::string> many;
  bool quick = false;
  CLI::App app{"pinproof: what it is for.\nExit: 0 is good."};

  Tree() {
    app.set_version_flag("--version", "pinproof 1");
    CLI::App* look = app.add_subcommand("look", "Look at one: it's [new]");
    look->footer(example_text("pinproof look a.json\n  pinproof look --quick b.json"));
    look->add_option("--share", share, "How much")
        ->check(CLI::Range(0.25, 1.0))
        ->capture_default_str();
    look->add_option("--way", way, "How it goes")->check(CLI::IsMember({"slow", "fast"}));
    takes_file(look->add_option("--out", file, "Where to"))->required();
    takes_folder(look->add_option("--from", folder, "Where from"));
    takes_profile(look->add_option("--profile", profile, "Which"));
    CLI::Option* note = look->add_option("-n,--note", text, "A file is not meant here");
    look->add_flag("--quick", quick, "At once")->excludes(note);
    look->add_option("--many", many, "Each of them")->needs(note);
    takes_file(look->add_option("first", first, "The first"))->required();
    CLI::App* keep = app.add_subcommand("keep", "Keep it");
    takes_file(keep->add_option("--where", file, "In what"));
    CLI::App* find = keep->add_subcommand("find", "Find it.");
    find->footer(example_text("pinproof keep find --last 3"));
    find->add_option("--last", many, "So many");
    app.add_subcommand("secret", "Not to be seen")->group("");
  }
};

const Entry& entry(const Page& page, const std::string& name) {
  for (const Entry& one : page.options)
    if (one.name == name) return one;
  for (const Entry& one : page.arguments)
    if (one.name == name) return one;
  throw std::out_of_range(name);
}

bool has(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

}  // namespace

TEST_CASE("a page says what its command takes") {
  Tree tree;
  const Page program = read_page(tree.app);
  CHECK(program.title() == "pinproof");
  CHECK(program.about == "pinproof: what it is for.");
  REQUIRE(program.commands.size() == 2);  // what has no group is not shown
  const Page& look = program.commands[0];
  CHECK(look.title("-") == "pinproof-look");
  CHECK(look.usage == "pinproof look [OPTIONS] first");
  CHECK(look.examples == Names{"pinproof look a.json", "pinproof look --quick b.json"});

  const Entry& share = entry(look, "--share");
  CHECK(share.type == "FLOAT");
  CHECK(share.low == "0.25");
  CHECK(share.high == "1");
  CHECK(share.usual == "0.5");
  CHECK(share.completion == Completion::text);
  CHECK_FALSE(share.required);
  CHECK(entry(look, "--way").choices == Names{"slow", "fast"});
  CHECK(entry(look, "--way").completion == Completion::choice);
  CHECK(entry(look, "--out").completion == Completion::file);
  CHECK(entry(look, "--out").required);
  CHECK(entry(look, "--from").completion == Completion::folder);
  CHECK(entry(look, "--profile").completion == Completion::profile);
  CHECK(entry(look, "--note").completion == Completion::text);  // by its mark, not by its words
  CHECK(entry(look, "--note").flags == Names{"-n", "--note"});
  CHECK(entry(look, "--quick").type == "");
  CHECK(entry(look, "--quick").completion == Completion::none);
  CHECK(entry(look, "--quick").excludes == Names{"--note"});
  CHECK(entry(look, "--many").repeated);
  CHECK(entry(look, "--many").needs == Names{"--note"});
  CHECK(entry(look, "first").flags.empty());
  CHECK(look.arguments.size() == 1);
  CHECK(argument_of(look) == Completion::file);

  const Page& keep = program.commands[1];
  CHECK(keep.examples.empty());
  REQUIRE(keep.commands.size() == 1);
  CHECK(keep.commands[0].path == Names{"keep", "find"});
  CHECK(keep.commands[0].examples == Names{"pinproof keep find --last 3"});
}

TEST_CASE("a check that the pages cannot tell is refused") {
  Tree tree;
  tree.app.add_option("--odd", tree.text, "Odd")->check(CLI::ExistingFile);
  CHECK_THROWS_AS(read_page(tree.app), std::logic_error);
}

TEST_CASE("a command of a command takes the options above it, its own first") {
  Tree tree;
  const Page program = read_page(tree.app);
  const auto all = all_taking(program);
  REQUIRE(all.size() == 4);
  CHECK(all[3].page->path == Names{"keep", "find"});
  Names names;
  for (const Entry& one : all[3].options) names.push_back(one.name);
  CHECK(names == Names{"--help", "--last", "--where"});
  CHECK(all[2].options.size() == 2);  // and none of the program's
}

TEST_CASE("the manual: a page a command, its marks escaped") {
  Tree tree;
  const auto pages = manual(read_page(tree.app), "pinproof 1", 86400);
  REQUIRE(pages.size() == 3);
  const std::string& look = pages.at("pinproof-look.1");
  CHECK(
      look.starts_with(".TH PINPROOF\\-LOOK 1 \"1970-01-02\" \"pinproof 1\" \"User Commands\"\n"));
  CHECK(has(look, "pinproof\\-look \\- Look at one: it\\(aqs [new]\n"));
  CHECK(has(look,
            ".TP\n\\fB\\-\\-share\\fR \\fIFLOAT\\fR\n"
            "How much. From 0.25 to 1. Default: 0.5.\n"));
  CHECK(has(look, "\\fB\\-n\\fR, \\fB\\-\\-note\\fR \\fITEXT\\fR\n"));
  CHECK(has(look, "One of slow, fast."));
  CHECK(has(look, "Not together with \\-\\-note."));
  CHECK(has(look, "Only with \\-\\-note."));
  CHECK(has(look, ".SH ARGUMENTS\n.TP\n\\fIfirst\\fR\nThe first. Required.\n"));
  CHECK(has(look,
            ".SH EXAMPLES\n.nf\npinproof look a.json\npinproof look \\-\\-quick b.json\n.fi\n"));
  CHECK(has(look, "\\fBpinproof\\-keep\\fR(1)"));
  CHECK(has(pages.at("pinproof-keep.1"), "Example:\n.RS\n.nf\npinproof keep find \\-\\-last 3\n"));
  CHECK(has(pages.at("pinproof.1"), "pinproof \\- what it is for\n"));
}

TEST_CASE("completions of three shells") {
  Tree tree;
  const Page program = read_page(tree.app);
  const std::string bash = bash_completion(program), zsh = zsh_completion(program),
                    fish = fish_completion(program);
  CHECK(has(bash, "    'look|--way') printf '%s' 'choice slow fast' ;;\n"));
  CHECK(has(bash, "    'look') printf '%s' 'file' ;;\n"));
  CHECK(has(bash, "    'keep find') printf '%s' '-h --help --last --where' ;;\n"));
  CHECK_FALSE(has(bash, "--quick')"));
  CHECK(has(zsh, "'--way[How it goes]:text:(slow fast)'"));
  CHECK(has(zsh, "'look:Look at one\\: it'\\''s \\[new\\]'"));
  CHECK(has(zsh, "'*--many[Each of them]:text: '"));
  CHECK(has(fish, "-s n -l note -x -d 'A file is not meant here'"));
  CHECK(has(fish, "'__fish_seen_subcommand_from keep; and __fish_seen_subcommand_from find'"));
  for (const std::string& text : {bash, zsh, fish}) CHECK_FALSE(has(text, "secret"));
}
