#include "cmd_recording.h"

#include <fmt/core.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <filesystem>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/link/replay.h"
#include "fettle/workshop/store.h"

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
    a.headline = fmt::format("{} is a copy without VIN and serial numbers; {} differ.", printable(options.out),
                             changed == 1 ? "1 byte" : fmt::format("{} bytes", changed));
    a.text =
        "  Addresses of hosts and times stay; so does what the named identifiers do not cover: look at it before you\n"
        "  hand it on.\n";
    a.data = {{"out", options.out}, {"bytes_changed", changed}};
    a.judgement.add({"recording-blanked", Verdict::fit,
                     "VIN, EID, GID and the records of the named identifiers are blanked", printable(options.out),
                     "recording"});
    return a;
}

namespace {

namespace fs = std::filesystem;

struct Known {  // a recording by the journal, or only by its name in the folder
    std::string file, sha256;
    bool erased = false;
};

fs::path place_of(const Context& context, const std::string& file) {
    return fs::path(file).is_absolute() ? fs::path(file) : context.home / "recordings" / file;
}

// Those of the journal, then what a killed command left in the folder without an entry.
std::vector<Known> recordings_of(const Context& context, const JobRecord& record) {
    std::vector<Known> out;
    const auto find = [&](const std::string& file) {
        return std::find_if(out.begin(), out.end(), [&](const Known& k) { return k.file == file; });
    };
    for (const book::Entry& e : record.entries) {
        if (e.type != "recorded" && e.type != "erased") continue;
        const auto data = parse_json(e.data, e.type);
        if (!data || !data->is_object()) continue;
        const auto text = [](const boost::json::object& o, const char* key) {
            const auto* v = o.if_contains(key);
            return v && v->is_string() ? std::string(v->as_string()) : std::string();
        };
        if (e.type == "recorded") {
            const std::string file = text(data->as_object(), "file");
            if (find(file) == out.end()) out.push_back({file, {}, false});
            *find(file) = {file, text(data->as_object(), "sha256"), false};
        } else if (const auto* files = data->as_object().if_contains("files"); files && files->is_array()) {
            for (const auto& f : files->as_array())
                if (const auto k = f.is_object() ? find(text(f.as_object(), "file")) : out.end(); k != out.end())
                    k->erased = true;
        }
    }
    std::error_code ec;
    std::vector<std::string> lost;
    for (fs::directory_iterator it(context.home / "recordings", ec), end; !ec && it != end; it.increment(ec)) {
        std::string name = it->path().filename().string();
        std::string number = name.substr(0, name.find('-'));
        if (!number.empty() && number.back() == 'x') number.back() = 'X';
        if (number == record.number && name.ends_with(".pcapng") && find(name) == out.end()) lost.push_back(name);
    }
    std::sort(lost.begin(), lost.end());
    for (const std::string& name : lost) out.push_back({name, {}, false});
    return out;
}

}  // namespace

// First the files, then the entry: killed in between, the next call says of what is missing that it is gone.
Result<Answer> link_erase(Context& context, const LinkEraseOptions& options) {
    if (trim(options.by).empty())
        return usage_error("erase-without-name", "--by", "who erases them is not said", "give --by NAME");
    auto record = read_job(context, options.job);
    if (!record) return pass(record);
    Answer a;
    a.job = record->number;
    boost::json::array erased, left;
    for (const Known& k : recordings_of(context, *record)) {
        const fs::path path = place_of(context, k.file);
        std::error_code ec;
        const bool there = fs::exists(path, ec);
        if (k.erased && !there) continue;
        boost::json::object entry{{"file", k.file}};
        if (!k.sha256.empty()) entry["sha256"] = k.sha256;
        if (!there) {
            entry["was"] = "gone";
            a.text += fmt::format("  {}: was gone already\n", printable(k.file));
            erased.push_back(std::move(entry));
            continue;
        }
        const auto digest = sha256_hex_of_file(path);
        std::string why;
        if (fs::path(k.file).is_absolute() && (!digest || *digest != k.sha256)) {
            why = "it is not as it was recorded: look at it, and delete it yourself";
        } else if (!fs::remove(path, ec) || ec) {
            why = "it cannot be deleted: " + ec.message();
        }
        if (!why.empty()) {
            a.judgement.add({"recording-left", Verdict::halt,
                             fmt::format("{} is still there: {}", printable(path.string()), why), k.file, "tried now"});
            left.push_back(boost::json::string(k.file));
            continue;
        }
        if (digest) entry["sha256"] = *digest;
        a.text += fmt::format("  {}: erased\n", printable(k.file));
        erased.push_back(std::move(entry));
    }
    a.headline = erased.empty()
                     ? "No recording of this job was there to erase."
                     : fmt::format("{} of this job erased; what the journal says stays.",
                                   erased.size() == 1 ? "1 recording" : fmt::format("{} recordings", erased.size()));
    if (left.empty())
        a.judgement.add(
            {"recordings-erased", Verdict::fit,
             "no recording of this job that Fettle knows of is left; copies that somebody made are not known",
             "recordings", "tried now"});
    a.data = {{"erased", erased}, {"left", std::move(left)}};
    if (!erased.empty()) a.entries.push_back({"erased", {{"files", std::move(erased)}, {"by", options.by}}});
    return a;
}

}  // namespace fettle::app
