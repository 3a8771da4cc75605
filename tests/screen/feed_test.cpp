#include "screen/feed.h"

#include <doctest/doctest.h>

#include <atomic>
#include <map>
#include <string>
#include <thread>
#include <vector>

using pinproof::screen::Feed;

namespace {

constexpr std::size_t kMuch = std::size_t{1} << 20;

struct Message {
  std::string name, id, data;
};

// By the rules of https://html.spec.whatwg.org/#event-stream-interpretation, as far as the feed
// uses them: fields, "\n" as line end, a message ends with an empty line.
std::vector<Message> messages(const std::string& text) {
  std::vector<Message> all;
  Message now;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = text.find('\n', at);
    REQUIRE(end != std::string::npos);
    const std::string line = text.substr(at, end - at);
    at = end + 1;
    if (line.empty()) {
      all.push_back(now);
      now = {};
      continue;
    }
    const std::size_t colon = line.find(": ");
    REQUIRE(colon != std::string::npos);
    const std::string field = line.substr(0, colon), value = line.substr(colon + 2);
    if (field == "event")
      now.name = value;
    else if (field == "id")
      now.id = value;
    else if (field == "data")
      now.data += value;
    else
      FAIL("an unknown field");
  }
  return all;
}

std::vector<Message> rest(const Feed& feed, Feed::ReaderPlace& place, std::size_t at_most = kMuch) {
  std::vector<Message> all;
  for (std::string text = feed.take(place, at_most); !text.empty();
       text = feed.take(place, at_most))
    for (Message& message : messages(text)) all.push_back(std::move(message));
  return all;
}

std::string names(const std::vector<Message>& all) {
  std::string out;
  for (const Message& message : all) out += message.name + (message.data + " ");
  return out;
}

}  // namespace

TEST_CASE("a newcomer starts over and gets the log in order, then the slots") {
  Feed feed;
  feed.set("offer", "1");
  feed.add("run", "2");
  feed.add("said", "3");
  Feed::ReaderPlace place;
  const auto all = rest(feed, place);
  CHECK(names(all) == "reset{} run2 said3 offer1 ");
  CHECK(all[0].id.empty());
  CHECK(all[3].id.empty());
  CHECK(all[1].id != all[2].id);
  CHECK(feed.take(place, kMuch).empty());
}

TEST_CASE("an id says where to go on") {
  Feed feed;
  for (const char* data : {"1", "2", "3", "4"}) feed.add("said", data);
  Feed::ReaderPlace place;
  const auto all = rest(feed, place);
  REQUIRE(all.size() == 5);
  for (std::size_t had = 1; had < all.size(); ++had) {
    Feed::ReaderPlace again = Feed::after(all[had].id);
    const auto missed = rest(feed, again);
    REQUIRE(missed.size() == all.size() - 1 - had);
    for (std::size_t i = 0; i < missed.size(); ++i) CHECK(missed[i].id == all[had + 1 + i].id);
  }
}

TEST_CASE("ids that say nothing start over") {
  Feed feed, other;
  feed.add("said", "1");
  other.add("said", "x");
  Feed::ReaderPlace place;
  const std::string id = rest(feed, place)[1].id;
  Feed::ReaderPlace elsewhere;
  const std::string foreign = rest(other, elsewhere)[1].id;
  const std::string epoch = id.substr(0, id.rfind('-'));
  for (const std::string& text :
       {std::string(), std::string("-"), std::string("-0"), epoch, epoch + "-", epoch + "-1x",
        epoch + "--1", epoch + "-1", epoch + "-99", epoch + "-18446744073709551615",
        epoch + "-99999999999999999999999", "x" + id, foreign}) {
    CAPTURE(text);
    Feed::ReaderPlace again = Feed::after(text);
    CHECK(names(rest(feed, again)) == "reset{} said1 ");
  }
  Feed::ReaderPlace good = Feed::after(id);
  CHECK(rest(feed, good).empty());
}

TEST_CASE("of a slot only the newest value counts, and each once") {
  Feed feed;
  Feed::ReaderPlace place;
  (void)rest(feed, place);
  for (int i = 0; i < 100; ++i) feed.set("live", std::to_string(i));
  CHECK(names(rest(feed, place)) == "live99 ");
  CHECK(rest(feed, place).empty());
  feed.set("live", "99");  // said again is said
  CHECK(names(rest(feed, place)) == "live99 ");
}

TEST_CASE("a new run") {
  Feed feed;
  feed.set("offer", "1");
  feed.set("progress", "2");
  feed.add("said", "3");
  Feed::ReaderPlace place;
  const auto before = rest(feed, place);
  feed.begin({"progress"});
  feed.add("run", "4");
  SUBCASE("tells a reader to forget, empties the slots that were named and keeps the others") {
    CHECK(names(rest(feed, place)) == "reset{} run4 offer1 progressnull ");
  }
  SUBCASE("is told to one who comes back with an id of the old one") {
    Feed::ReaderPlace again = Feed::after(before[1].id);
    CHECK(names(rest(feed, again)) == "reset{} run4 offer1 progressnull ");
  }
  SUBCASE("has its own values of the slots that were named") {
    feed.set("progress", "5");
    CHECK(names(rest(feed, place)) == "reset{} run4 offer1 progress5 ");
  }
  SUBCASE("two runs in a row make one reset") {
    feed.begin({});
    CHECK(names(rest(feed, place)) == "reset{} offer1 progressnull ");
  }
}

TEST_CASE("parts hold about what was asked for, and one message at least") {
  Feed feed;
  for (int i = 0; i < 50; ++i) feed.add("said", std::string(100, 'x'));
  feed.add("capture", std::string(5000, 'y'));
  feed.set("state", "1");
  Feed::ReaderPlace place;
  std::size_t parts = 0, lines = 0;
  for (std::string text = feed.take(place, 1000); !text.empty(); text = feed.take(place, 1000)) {
    const auto all = messages(text);
    if (all.back().name != "capture" && all.front().name != "capture") CHECK(text.size() <= 1200);
    if (++parts == 1) CHECK(all.back().name == "state");  // not behind the whole log
    for (const Message& message : all) lines += message.id.empty() ? 0 : 1;
  }
  CHECK(lines == 51);
  CHECK(parts >= 7);
}

TEST_CASE("the log is bounded, and who still wanted its beginning starts over") {
  Feed feed(10000);
  Feed::ReaderPlace slow, quick;
  (void)rest(feed, slow);
  (void)rest(feed, quick);
  for (int i = 0; i < 1000; ++i) {
    feed.add("said", std::string(96, 'x') + std::to_string(1000 + i));
    CHECK(rest(feed, quick).size() == 1);
  }
  const auto all = rest(feed, slow);
  CHECK(all.front().name == "reset");
  CHECK(all.size() < 100);
  CHECK(all.size() > 30);
  CHECK(all.back().data.substr(96) == "1999");
  feed.add("capture", std::string(20000, 'y'));  // larger than all: kept, since it is the newest
  const auto last = rest(feed, slow);
  REQUIRE(!last.empty());
  CHECK(last.back().name == "capture");
}

TEST_CASE("a break in the data does not end the message") {
  Feed feed;
  feed.add("said", "{\n\"a\":\r\n1}\n\nevent: verdict\ndata: 1");
  feed.set("state", "{\r}");
  Feed::ReaderPlace place;
  CHECK(names(rest(feed, place)) == "reset{} said{ \"a\":  1}  event: verdict data: 1 state{ } ");
}

TEST_CASE("the listener hears of every change and may use the feed itself") {
  Feed feed;
  int heard = 0;
  Feed::ReaderPlace place;
  feed.on_change([&] {
    ++heard;
    (void)rest(feed, place);
  });
  feed.add("said", "1");
  feed.set("state", "1");
  feed.begin({});
  CHECK(heard == 3);
  feed.on_change({});
  feed.add("said", "2");
  CHECK(heard == 3);
}

TEST_CASE("writers and readers at once lose nothing") {
  Feed feed;
  std::atomic<bool> done = false;
  std::vector<std::thread> writers, readers;
  std::vector<std::map<char, int>> counts(4);
  for (std::size_t r = 0; r < counts.size(); ++r)
    readers.emplace_back([&, r] {
      Feed::ReaderPlace place;
      for (bool last = false; !last;) {
        last = done;
        for (std::string text = feed.take(place, 300); !text.empty(); text = feed.take(place, 300))
          for (std::size_t at = 0; (at = text.find("data: w", at)) != std::string::npos; ++at)
            ++counts[r][text[at + 7]];
      }
    });
  for (const char who : {'a', 'b', 'c'})
    writers.emplace_back([&feed, who] {
      for (int i = 0; i < 500; ++i) {
        feed.add("said", std::string("w") + who);
        feed.set("live", std::to_string(i));
      }
    });
  for (auto& writer : writers) writer.join();
  done = true;
  for (auto& reader : readers) reader.join();
  for (const auto& count : counts)
    CHECK(count == std::map<char, int>{{'a', 500}, {'b', 500}, {'c', 500}});
}
