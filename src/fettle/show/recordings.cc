#include "fettle/show/recordings.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {

Answer replayed(const workshop::Replayed& r) {
    Answer a;
    a.headline = r.asked == 0 ? fmt::format("Nobody asked anything; the recording holds {} questions.", r.recorded)
                              : fmt::format("{} questions were asked; the recording holds {}.", r.asked, r.recorded);
    json::array missing;
    for (const std::string& m : r.not_in_it) {
        a.text += fmt::format("  not in it: {}\n", m);
        missing.emplace_back(m);
    }
    if (r.cut_short) a.text += "  the recording ends in mid packet; what came before is whole\n";
    a.data = {{"listened", texts_as_json(r.listened)},
              {"asked", r.asked},
              {"recorded", r.recorded},
              {"not_in_it", std::move(missing)},
              {"cut_short", r.cut_short}};
    a.judgement = r.judgement;
    return a;
}

Answer blanked(const workshop::Blanked& b) {
    Answer a;
    a.headline = fmt::format("{} is a copy without VIN and serial numbers; {}.", printable(b.out),
                             b.bytes_changed == 1 ? "1 byte differs" : fmt::format("{} bytes differ", b.bytes_changed));
    a.text =
        "  Addresses of hosts and times stay; so does what the named identifiers do not cover: look at it before you\n"
        "  hand it on.\n";
    a.data = {{"out", b.out}, {"bytes_changed", b.bytes_changed}};
    a.judgement = b.judgement;
    return a;
}

Answer erased(const workshop::Erased& e) {
    Answer a;
    json::array files;
    for (const workshop::ErasedFile& f : e.files) {
        a.text += fmt::format("  {}: {}\n", printable(f.file), f.was_gone ? "was gone already" : "erased");
        json::object o{{"file", f.file}};
        if (!f.sha256.empty()) o["sha256"] = f.sha256;
        if (f.was_gone) o["was"] = "gone";
        files.push_back(std::move(o));
    }
    a.headline = e.files.empty()
                     ? "No recording of this job was there to erase."
                     : fmt::format("{} of this job erased; what the journal says stays.",
                                   e.files.size() == 1 ? "1 recording" : fmt::format("{} recordings", e.files.size()));
    a.data = {{"erased", std::move(files)}, {"left", texts_as_json(e.left)}};
    a.judgement = e.judgement;
    return a;
}

}  // namespace fettle::show
