// Recordings that are played back or copied: of no job.
#include <fmt/core.h>

#include <charconv>
#include <chrono>
#include <filesystem>

#include "fettle/base/files.h"
#include "fettle/base/text.h"
#include "fettle/link/replay.h"
#include "fettle/workshop/listen_at.h"
#include "fettle/workshop/recordings.h"

namespace fettle::workshop {
namespace {

using Steady = std::chrono::steady_clock;

// The place of a broken recording is its file.
template <class T>
Result<T> in_file(Result<T> r, const std::string& path) {
    if (!r) r.error().place = printable(path) + (r.error().place.empty() ? "" : ", " + r.error().place.words());
    return r;
}

Reason replay_reason(const Replayed& r) {
    const std::string where = printable(r.file);
    if (r.asked == 0)
        return {"replay-not-asked", Verdict::cant_say,
                "nothing was asked, so whether the recording answers is not known", where, "recording"};
    if (r.not_in_it.empty())
        return {"replay-answered", Verdict::fit, "every question was in the recording", where, "recording"};
    return {"replay-not-in-it", Verdict::mind, "some questions were not in the recording and got no answer", where,
            "recording"};
}

Result<std::uint16_t> identifier(const std::string& typed) {
    std::uint16_t v = 0;
    const bool hexed = typed.starts_with("0x") && typed.size() == 6;
    const auto [end, error] = std::from_chars(typed.data() + (hexed ? 2 : 0), typed.data() + typed.size(), v, 16);
    if (!hexed || error != std::errc{} || end != typed.data() + typed.size())
        return usage_error("bad-identifier", printable(typed), "it is no identifier of two bytes",
                           "write it as 0xF1A5");
    return v;
}

}  // namespace

Result<Replayed> replay_recording(const Workshop&, const ReplayRequest& request) {
    if (auto ok = check_stay(request.stay_s); !ok) return pass(ok);
    const auto at = listen_at(request.listen);
    if (!at) return pass(at);
    const auto text = read_text_file(request.file);
    if (!text) return pass(text);
    auto recorded = in_file(link::read_recording(as_bytes(*text)), request.file);
    if (!recorded) return pass(recorded);
    Replayed out;
    out.file = request.file;
    out.recorded = recorded->exchanges.size();
    out.cut_short = recorded->cut_short;
    link::Loop loop;
    auto replay = in_file(link::Replay::start(loop, std::move(*recorded), *at), request.file);
    if (!replay) return pass(replay);
    if ((*replay)->port() != 0) out.listened.push_back(fmt::format("doip://{}:{}", at->host, (*replay)->port()));
    for (const auto& a : (*replay)->on_can()) out.listened.push_back(text_of(a));
    for (const std::string& address : out.listened)
        if (request.listens) request.listens(address);
    const auto until = Steady::now() + std::chrono::milliseconds(static_cast<std::int64_t>(request.stay_s * 1000));
    while (request.stay_s == 0 || Steady::now() < until) loop.turn(Steady::now() + std::chrono::milliseconds(50));
    out.asked = (*replay)->asked();
    out.not_in_it = (*replay)->not_in_it();
    out.judgement.add(replay_reason(out));
    return out;
}

Result<Blanked> blank_recording(const Workshop&, const BlankRequest& request) {
    std::vector<std::uint16_t> dids;
    for (const std::string& typed : request.dids) {
        const auto did = identifier(typed);
        if (!did) return pass(did);
        dids.push_back(*did);
    }
    const auto text = read_text_file(request.file);
    if (!text) return pass(text);
    const auto clean = in_file(link::without_names(as_bytes(*text), dids), request.file);
    if (!clean) return pass(clean);
    std::error_code ec;
    if (std::filesystem::exists(request.out, ec))
        return outside_error("recording-not-written", printable(request.out), "it exists already",
                             "give another name: a recording is never written over");
    if (auto ok = write_file_durably(request.out, as_text(*clean)); !ok) return pass(ok);
    Blanked out{request.out, 0, {}};
    for (std::size_t i = 0; i < clean->size(); ++i)
        if (static_cast<Byte>((*text)[i]) != (*clean)[i]) ++out.bytes_changed;
    out.judgement.add({"recording-blanked", Verdict::fit,
                       "VIN, EID, GID and the records of the named identifiers are blanked", printable(request.out),
                       "recording"});
    return out;
}

}  // namespace fettle::workshop
