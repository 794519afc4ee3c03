#include "fettle/workshop/families.h"

#include <algorithm>
#include <system_error>

#include "fettle/base/text.h"

namespace fettle::workshop {
namespace fs = std::filesystem;
namespace {

// The .toml files of a folder by name; an unreadable or missing folder has none.
std::vector<fs::path> family_files(const fs::path& folder) {
    std::vector<fs::path> out;
    std::error_code ec;
    for (fs::directory_iterator it(folder, ec), end; !ec && it != end; it.increment(ec))
        if (it->path().extension() == ".toml") out.push_back(it->path());
    std::sort(out.begin(), out.end());
    return out;
}

Proposal add_a_file() {
    return propose(Act::add_family, {wanted("file", "FILE")});
}

}  // namespace

Result<std::vector<family::Family>> load_families(const Workshop& shop) {
    std::vector<family::Family> out;
    std::vector<fs::path> files = family_files(shop.families_folder());
    for (fs::path& example : family_files(shop.examples)) files.push_back(std::move(example));
    for (const fs::path& file : files) {
        Result<family::Family> loaded = family::load_family(file);
        if (!loaded) return pass(loaded);
        const bool known = std::any_of(out.begin(), out.end(), [&](const auto& f) { return f.id == loaded->id; });
        if (!known) out.push_back(std::move(*loaded));  // HOME comes first and wins over an example
    }
    if (out.empty())
        return bad_input("no-family-files", shop.families_folder().string(),
                         "holds no family file, and no examples are installed", Next{"add one with: ", add_a_file()});
    return out;
}

Result<family::Family> load_family_by_id(const Workshop& shop, const std::string& id) {
    Result<std::vector<family::Family>> all = load_families(shop);
    if (!all) return pass(all);
    std::vector<std::string> names;
    for (family::Family& f : *all) {
        if (f.id == id) return std::move(f);
        names.push_back(f.id);
    }
    return bad_input("family-unknown", printable(id), "no family of that name; known here: " + join(names, ", "),
                     Next{"check the spelling, or add its file with: ", add_a_file()});
}

Result<std::optional<family::Family>> family_if_named(const Workshop& shop, const std::string& id) {
    if (id.empty()) return std::optional<family::Family>();
    auto family = load_family_by_id(shop, id);
    if (!family) return pass(family);
    return std::optional(std::move(*family));
}

}  // namespace fettle::workshop
