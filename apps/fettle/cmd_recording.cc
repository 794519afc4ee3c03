#include "cmd_recording.h"

#include <fmt/core.h>

#include <charconv>
#include <chrono>
#include <filesystem>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/link/replay.h"

namespace fettle::app {
namespace {

using Steady = std::chrono::steady_clock;

Result<std::string> recording_text(const std::string& path) {
    auto text = read_text_file(path);
    if (!text) return pass(text);
    return std::move(*text);
}

// The place of a broken recording is its file.
template <class T>
Result<T> in_file(Result<T> r, const std::string& path) {
    if (!r) r.error().place = printable(path) + (r.error().place.empty() ? "" : ", " + r.error().place);
    return r;
}

}  // namespace

Result<Answer> link_replay(Context& context, const LinkReplayOptions& options) {
    if (!(options.stay_s >= 0 && options.stay_s <= 7 * 86400))
        return usage_error("bad-stay", fmt::format("{}", options.stay_s), "it is not between 0 and a week",
                           "write e.g. --stay 60");
    const auto colon = options.listen.rfind(':');
    const bool any_port = colon != std::string::npos && options.listen.substr(colon) == ":0";
    auto at = link::parse_endpoint(any_port ? options.listen.substr(0, colon) : options.listen);
    if (!at) return pass(at);
    if (any_port) at->port = 0;
    const auto text = recording_text(options.file);
    if (!text) return pass(text);
    auto recorded = in_file(link::read_recording(as_bytes(*text)), options.file);
    if (!recorded) return pass(recorded);
    const std::size_t questions = recorded->exchanges.size();
    const bool cut = recorded->cut_short;
    link::Loop loop;
    auto replay = in_file(link::Replay::start(loop, std::move(*recorded), *at), options.file);
    if (!replay) return pass(replay);
    const auto tell = [&](const std::string& line) {
        if (!context.json) fmt::print(stderr, "{}", line);
    };
    boost::json::array where;
    const auto listens = [&](const std::string& address) {
        tell(fmt::format("Listening on {}; this answers from a recording.\n", address));
        where.emplace_back(address);
    };
    if ((*replay)->port() != 0) listens(fmt::format("doip://{}:{}", at->host, (*replay)->port()));
    for (const auto& a : (*replay)->on_can()) listens(text_of(a));
    const auto until = Steady::now() + std::chrono::milliseconds(static_cast<std::int64_t>(options.stay_s * 1000));
    while (options.stay_s == 0 || Steady::now() < until) loop.turn(Steady::now() + std::chrono::milliseconds(50));

    Answer a;
    a.headline = fmt::format("{} questions were asked; the recording holds {}.", (*replay)->asked(), questions);
    boost::json::array missing;
    for (const auto& m : (*replay)->not_in_it()) {
        a.text += fmt::format("  not in it: {}\n", m);
        missing.emplace_back(m);
    }
    if (cut) a.text += "  the recording ends in mid packet; what came before is whole\n";
    a.data = {{"listened", std::move(where)},
              {"asked", (*replay)->asked()},
              {"recorded", questions},
              {"not_in_it", std::move(missing)},
              {"cut_short", cut}};
    const bool all = (*replay)->not_in_it().empty();
    if ((*replay)->asked() == 0) {
        a.headline = fmt::format("Nobody asked anything; the recording holds {} questions.", questions);
        a.judgement.add({"replay-not-asked", Verdict::cant_say,
                         "nothing was asked, so whether the recording answers is not known", printable(options.file),
                         "recording"});
        return a;
    }
    a.judgement.add(
        {all ? "replay-answered" : "replay-not-in-it", all ? Verdict::fit : Verdict::mind,
         all ? "every question was in the recording" : "some questions were not in the recording and got no answer",
         printable(options.file), "recording"});
    return a;
}

Result<Answer> link_blank(Context&, const LinkBlankOptions& options) {
    std::vector<std::uint16_t> dids;
    for (const auto& d : options.dids) {
        std::uint16_t v = 0;
        const bool hexed = d.starts_with("0x") && d.size() == 6;
        const auto [end, error] = std::from_chars(d.data() + (hexed ? 2 : 0), d.data() + d.size(), v, 16);
        if (!hexed || error != std::errc{} || end != d.data() + d.size())
            return usage_error("bad-identifier", printable(d), "it is no identifier of two bytes",
                               "write it as 0xF1A5");
        dids.push_back(v);
    }
    const auto text = recording_text(options.file);
    if (!text) return pass(text);
    const auto clean = in_file(link::without_names(as_bytes(*text), dids), options.file);
    if (!clean) return pass(clean);
    std::error_code ec;
    if (std::filesystem::exists(options.out, ec))
        return outside_error("recording-not-written", printable(options.out), "it exists already",
                             "give another name: a recording is never written over");
    if (auto ok = write_file_durably(options.out, as_text(*clean)); !ok) return pass(ok);
    std::size_t changed = 0;
    for (std::size_t i = 0; i < clean->size(); ++i)
        if (static_cast<Byte>((*text)[i]) != (*clean)[i]) ++changed;
    Answer a;
    a.headline =
        fmt::format("{} is a copy without VIN and serial numbers; {} bytes differ.", printable(options.out), changed);
    a.text =
        "  Addresses of hosts and times stay; so does what the named identifiers do not cover: look at it before you\n"
        "  hand it on.\n";
    a.data = {{"out", options.out}, {"bytes_changed", changed}};
    a.judgement.add({"recording-blanked", Verdict::fit,
                     "VIN, EID, GID and the records of the named identifiers are blanked", printable(options.out),
                     "recording"});
    return a;
}

}  // namespace fettle::app
