#include "fettle/show/draft.h"

#include <fmt/core.h>

#include "fettle/base/json.h"
#include "fettle/base/text.h"

namespace fettle::show {

Answer drafted(const workshop::Drafted& d) {
    const contact::Draft& draft = d.draft;
    const bool in_use = !d.in_use.empty();
    Answer out;
    out.verdict_matters = false;
    out.level = draft.level;
    out.headline = fmt::format("Draft of family {}, level {}: {} left unknown{}.", draft.id, draft.level,
                               plural(draft.unknown.size(), "thing"), in_use ? "; in use here now" : "");
    for (const std::string& f : draft.found) out.text += "  found    " + f + "\n";
    for (const std::string& u : draft.unknown) out.text += "  unknown  " + u + "\n";
    json::array asked;
    for (const auto& q : draft.asked) {
        out.text += fmt::format("  asked    {} (\"{}\"): what is it? --means {}=WORD, or \"{}=don't know\"\n", q.part,
                                printable(q.example), q.part, q.part);
        asked.push_back(json::object{{"part", q.part}, {"example", q.example}});
    }
    out.data = {{"id", draft.id},
                {"asked", std::move(asked)},
                {"level", draft.level},
                {"found", texts_as_json(draft.found)},
                {"unknown", texts_as_json(draft.unknown)},
                {"file", d.to},
                {"toml", draft.toml},
                {"added", in_use}};
    if (in_use) {
        out.data["in_use"] = d.in_use.string();
        out.text += fmt::format("  in use   {}\n", printable(d.in_use.string()));
    }
    if (d.next.empty()) return out;
    out.text += "  next     ";
    out.text.append(d.next);
    out.text += "\n";
    return out;
}

}  // namespace fettle::show
