#include "fettle/workshop/other_jobs.h"

#include <algorithm>
#include <map>

#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/store.h"

namespace fettle::workshop {
namespace {

std::string plain(std::string_view plate) {
    std::string out;
    for (const char c : plate)
        if (c != ' ' && c != '\t') out += c >= 'a' && c <= 'z' ? static_cast<char>(c - 'a' + 'A') : c;
    return out;
}

// The labels that an entry of take-in or identification names.
std::vector<std::string> plates_in(const json::object& o) {
    std::vector<std::string> out;
    if (const auto* boxes = o.if_contains("boxes"); boxes && boxes->is_array())
        for (const json::value& b : boxes->get_array())
            if (b.is_string()) out.emplace_back(b.get_string());
    if (const auto* plates = o.if_contains("plates"); plates && plates->is_object())
        for (const auto& p : plates->get_object())
            if (p.value().is_string()) out.emplace_back(p.value().get_string());
    return out;
}

}  // namespace

std::vector<OpenElsewhere> open_elsewhere(const Workshop& shop, const std::vector<std::string>& plates,
                                          const std::string& but_job) {
    std::vector<OpenElsewhere> out;
    std::error_code ignored;
    if (plates.empty() || !std::filesystem::exists(shop.book_file(), ignored)) return out;
    const auto book = open_book(shop);
    if (!book) return out;
    std::map<std::string, std::string> typed;  // plain → as typed
    for (const std::string& p : plates) typed[plain(p)] = p;
    std::map<std::string, std::string> found;  // job → plate
    for (const char* type : {"opened", "identified"}) {
        const auto all = book->entries_of(type);
        if (!all) return out;
        for (const auto& e : *all) {
            const auto v = parse_json(e.data, type);
            if (e.job == but_job || !v || !v->is_object()) continue;
            for (const std::string& p : plates_in(v->get_object()))
                if (const auto same = typed.find(plain(p)); same != typed.end()) found.emplace(e.job, same->second);
        }
    }
    for (const auto& [number, plate] : found) {
        const auto job = load_job(shop, number);
        if (job && job->handovers.empty()) out.push_back({plate, number, job->customer});
    }
    return out;
}

}  // namespace fettle::workshop
