#include "fettle/workshop/family_acts.h"

#include <fmt/core.h>

#include <algorithm>

#include "fettle/base/digest.h"
#include "fettle/base/files.h"
#include "fettle/base/json.h"
#include "fettle/base/text.h"
#include "fettle/workshop/families.h"

namespace fettle::workshop {
namespace fs = std::filesystem;
namespace {

constexpr std::uintmax_t file_limit_bytes = 4u << 20;  // the loader's own, smaller bound names the line

// What the file says otherwise than the one in use.
Status compare_with_known(const Workshop& shop, AddedFamily& out, std::string& digest_in_use) {
    const auto known = load_families(shop);
    if (!known && known.error().code != "no-family-files") return pass(known);
    if (!known) return {};
    for (const family::Family& f : *known) {
        if (f.id != out.offered.id) continue;
        out.was_known = true;
        out.changes = family::compare_families(f, out.offered);
        digest_in_use = f.digest;
    }
    out.loosened = static_cast<std::size_t>(
        std::count_if(out.changes.begin(), out.changes.end(), [](const auto& c) { return c.loosens; }));
    return {};
}

Reason loosens(const std::string& file) {
    return {"family-loosens",
            Verdict::halt,
            "removing a door, a stone, a hold or a condition, changing a key, or letting through what was held back "
            "needs somebody's name",
            file,
            "family file",
            Next{"give it: ", with(wanted("accept-loosening-by", "NAME"))}};
}

}  // namespace

Result<std::string> family_file_text(const fs::path& file) {
    return read_text_file(file, file_limit_bytes);
}

Result<CheckedFamily> check_family(const std::string& file) {
    const auto text = family_file_text(file);
    if (!text) return pass(text);
    return CheckedFamily{file, family::load_family_text(*text), family::check_family_signature(*text)};
}

Result<AddedFamily> add_family(const Workshop& shop, const AddFamilyRequest& request) {
    const auto text = family_file_text(request.file);
    if (!text) return pass(text);
    auto offered = family::load_family(request.file);
    if (!offered) return pass(offered);
    if (offered->digest != sha256_hex(*text))
        return outside_error("file-changed", request.file, "the file changed while it was read", "add it again");
    AddedFamily out;
    out.offered = std::move(*offered);
    std::string digest_in_use;
    if (const Status compared = compare_with_known(shop, out, digest_in_use); !compared) return pass(compared);
    const std::string by(trim(request.accept_loosening_by));
    if (out.loosened > 0 && by.empty()) {
        out.judgement.add(loosens(request.file));
        return out;
    }
    if (out.loosened > 0) {
        LooseningSigned acceptance{by, digest_in_use, out.offered.digest, std::nullopt, {}};
        for (const family::Change& c : out.changes)
            if (c.loosens) acceptance.loosened.push_back(c.key);
        if (const Status kept = keep_signed_loosening(shop, out.offered.id, acceptance); !kept) return pass(kept);
        out.judgement.add({"family-loosening-accepted", Verdict::mind, fmt::format("{} accepted what is loosened", by),
                           out.offered.id, "named acceptance"});
    }
    auto written = put_in_use(shop, out.offered.id, *text);
    if (!written) return pass(written);
    out.in_use = std::move(*written);
    return out;
}

Result<fs::path> put_in_use(const Workshop& shop, const std::string& id, const std::string& text) {
    fs::path target = shop.families_folder() / (id + ".toml");
    if (const Status made = make_folder(shop.families_folder()); !made) return pass(made);
    if (const Status written = write_file_durably(target, text); !written) {
        std::error_code kept;
        fs::remove(shop.families_folder(), kept);  // goes only when it is empty
        return pass(written);
    }
    return target;
}

Status keep_signed_loosening(const Workshop& shop, const std::string& id, const LooseningSigned& a) {
    const fs::path file = shop.families_folder() / (id + ".accepted.jsonl");
    if (const Status made = make_folder(shop.families_folder()); !made) return made;
    std::string lines;  // the file is small, and written whole
    std::error_code ec;
    if (fs::exists(file, ec)) {
        auto before = read_text_file(file);
        if (!before) return pass(before);
        lines = std::move(*before);
    }
    json::object entry{
        {"at", iso8601(shop.clock->now())}, {"by", a.by}, {"from_sha256", a.from_sha256}, {"to_sha256", a.to_sha256}};
    if (a.signed_with) entry["signed_with"] = *a.signed_with;
    entry["loosened"] = texts_as_json(a.loosened);
    return write_file_durably(file, lines + json::serialize(entry) + "\n");
}

Result<std::set<std::size_t>> numbers_of(const std::vector<std::string>& words, std::size_t last,
                                         const std::string& problem, const std::string& next) {
    std::set<std::size_t> out;
    for (const std::string& word : words) {
        const std::size_t dash = word.find('-');
        const auto first = word == "all" ? 1 : number_in<std::size_t>(std::string_view(word).substr(0, dash));
        const auto end = word == "all"               ? last
                         : dash == std::string::npos ? first
                                                     : number_in<std::size_t>(std::string_view(word).substr(dash + 1));
        if (word != "all" && (!first || !end || *first < 1 || *end < *first || *end > last))
            return usage_error("line-not-there", with(given("accept", word)), problem, next);
        for (std::size_t n = *first; n <= *end; ++n) out.insert(n);
    }
    return out;
}

}  // namespace fettle::workshop
