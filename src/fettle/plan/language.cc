// By the small words that no sentence of a language does without, and by letters that only some have. From memory; few
// words, because a wrong language is worse than none.
#include "fettle/plan/language.h"

#include <algorithm>
#include <cctype>
#include <utility>
#include <vector>

#include "fettle/base/text.h"

namespace fettle::plan {
namespace {

struct Language {
    const char* code;
    std::vector<std::string> words, letters;
};

const std::vector<Language>& languages() {
    static const std::vector<Language> all = {
        {"en",
         {"the", "a", "after", "and", "is", "it", "no", "not", "when", "with", "from", "of", "to", "does", "stays"},
         {}},
        {"de",
         {"der", "die", "das", "und", "ist", "nicht", "nach", "kein", "keine", "bleibt", "beim", "mit", "geht", "auf"},
         {"ß", "ä", "ö", "ü"}},
        {"fr", {"le", "la", "les", "et", "est", "pas", "une", "du", "des", "ne", "reste", "au"}, {"ç", "è", "ê", "œ"}},
        {"es", {"el", "los", "las", "y", "es", "una", "del", "se", "queda", "muy"}, {"ñ", "¿", "¡"}},
        {"it", {"il", "gli", "è", "non", "dopo", "uno", "della", "resta", "si"}, {"ì", "ò"}},
        {"nl", {"het", "een", "niet", "geen", "na", "blijft", "met", "bij", "wordt", "van"}, {"ĳ"}},
        {"pl", {"nie", "jest", "po", "się", "na", "przy", "jak"}, {"ł", "ą", "ę", "ż", "ś", "ź"}},
    };
    return all;
}

std::vector<std::string> words_of(std::string_view text) {
    std::vector<std::string> out(1);
    for (const char c : text) {
        const auto u = static_cast<unsigned char>(c);
        if (std::isalpha(u) != 0 || u >= 0x80) {
            out.back() += static_cast<char>(u < 0x80 ? std::tolower(u) : u);
        } else if (!out.back().empty()) {
            out.emplace_back();
        }
    }
    return out;
}

// Of letters beyond Latin, by the lead bytes of their UTF-8.
std::string script_of(std::string_view text) {
    std::size_t latin = 0, greek = 0, cyrillic = 0, other = 0;
    for (const char c : text) {
        const auto u = static_cast<unsigned char>(c);
        if (std::isalpha(u) != 0 || (u >= 0xC3 && u <= 0xC9)) ++latin;
        if (u == 0xCE || u == 0xCF) ++greek;
        if (u >= 0xD0 && u <= 0xD3) ++cyrillic;
        if ((u >= 0xD4 && u <= 0xDF) || (u >= 0xE0 && u != 0xE2 && u <= 0xEF)) ++other;
    }
    const std::size_t most = std::max({latin, greek, cyrillic, other});
    return most == 0 || most == latin ? "" : most == greek ? "Greek" : most == cyrillic ? "Cyrillic" : "other";
}

}  // namespace

std::string language_of(std::string_view text) {
    if (std::string script = script_of(text); !script.empty()) return script;
    const auto words = words_of(text);
    std::string best;
    long most = 0;
    bool shared = false;
    for (const Language& l : languages()) {
        long hits = std::count_if(words.begin(), words.end(), [&](const std::string& w) {
            return std::find(l.words.begin(), l.words.end(), w) != l.words.end();
        });
        for (const auto& letter : l.letters) hits += text.find(letter) != std::string_view::npos ? 1 : 0;
        if (hits > 0 && hits == most) shared = true;
        if (hits <= most) continue;
        most = hits;
        best = l.code;
        shared = false;
    }
    return shared ? "" : best;
}

}  // namespace fettle::plan
