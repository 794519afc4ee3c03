#include "cmd_card_map.h"

#include <fmt/core.h>

#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/card/card_map.h"

namespace fettle::app {
namespace {

constexpr std::size_t most_told = 5000;  // stretches in the data

std::string sentence_of(const card::CardMap& m, const std::string& card) {
    std::string out = fmt::format("{}: {}, {}", card, card::place_of(m.card_bytes),
                                  m.table == "none"  ? "no partition table"
                                  : m.table == "gpt" ? "GPT"
                                                     : "MBR");
    if (m.file_system.empty()) return out + ", no volume that Fettle looks into.";
    out += fmt::format(", {}{}", m.file_system, m.label.empty() ? "" : " '" + m.label + "'");
    return out + fmt::format(", {} file{} in {} stretch{}.", m.files, m.files == 1 ? "" : "s", m.stretches,
                             m.stretches == 1 ? "" : "es");
}

}  // namespace

Result<Answer> card_map(Context&, const CardMapOptions& options) {
    const auto device = card::open_for_reading(options.card);
    if (!device) return pass(device);
    const auto m = card::map_card(**device);
    if (!m) return pass(m);
    Answer a;
    a.verdict_matters = false;
    a.headline = sentence_of(*m, printable(options.card));
    a.text = join(card::map_text(*m, {80, options.ascii}), "\n") + "\n";
    for (const auto& n : m->not_drawn) a.text += "  not drawn: " + n + "\n";
    json::array spots, not_drawn;
    for (const auto& s : m->spots) {
        if (spots.size() == most_told) break;
        spots.push_back(json::object{{"at_bytes", s.at},
                                     {"length_bytes", s.length},
                                     {"what", std::string(card::words(s.ground))},
                                     {"name", s.name}});
    }
    for (const auto& n : m->not_drawn) not_drawn.push_back(json::string(n));
    a.data = {{"card", options.card},
              {"size_bytes", m->card_bytes},
              {"table", m->table},
              {"file_system", m->file_system},
              {"label", m->label},
              {"files", m->files},
              {"file_stretches", m->stretches},
              {"used_to_bytes", m->used_to},
              {"spots", std::move(spots)},
              {"spots_left_out", m->spots.size() > most_told ? m->spots.size() - most_told : 0},
              {"not_drawn", std::move(not_drawn)}};
    if (!options.svg.empty()) {
        if (Status s = write_file_durably(options.svg, card::map_svg(*m, a.headline)); !s) return pass(s);
        a.data["svg"] = options.svg;
        a.text += fmt::format("Drawn to {}\n", printable(options.svg));
    }
    return a;
}

}  // namespace fettle::app
