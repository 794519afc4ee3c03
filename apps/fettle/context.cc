#include "context.h"

#include <unistd.h>

#include <algorithm>
#include <array>
#include <system_error>

#include "fettle/base/text.h"

namespace fettle::app {
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

}  // namespace

fs::path example_families_folder() {
    std::array<char, 4096> buffer{};
    const ssize_t n = ::readlink("/proc/self/exe", buffer.data(), buffer.size() - 1);
    if (n <= 0) return {};
    // bin/fettle → share/fettle/families when installed; …/build/PRESET/apps/fettle/fettle → families in a build tree.
    const fs::path program(std::string(buffer.data(), static_cast<std::size_t>(n)));
    std::error_code ec;
    const fs::path installed = program.parent_path().parent_path() / "share/fettle/families";
    if (fs::is_directory(installed, ec)) return installed;
    for (fs::path up = program.parent_path(); up.has_relative_path(); up = up.parent_path())
        if (fs::is_regular_file(up / "families/dunnock.toml", ec)) return up / "families";
    return {};
}

Result<std::vector<family::Family>> load_families(const Context& context) {
    std::vector<family::Family> out;
    std::vector<fs::path> files = family_files(context.families_folder());
    for (fs::path& example : family_files(example_families_folder())) files.push_back(std::move(example));
    for (const fs::path& file : files) {
        Result<family::Family> loaded = family::load_family(file);
        if (!loaded) return pass(loaded);
        const bool known = std::any_of(out.begin(), out.end(), [&](const auto& f) { return f.id == loaded->id; });
        if (!known) out.push_back(std::move(*loaded));  // HOME comes first and wins over an example
    }
    if (out.empty())
        return bad_input("no-family-files", context.families_folder().string(),
                         "holds no family file, and no examples are installed", "add one with: fettle family add FILE");
    return out;
}

Result<family::Family> load_family_by_id(const Context& context, const std::string& id) {
    Result<std::vector<family::Family>> all = load_families(context);
    if (!all) return pass(all);
    std::vector<std::string> names;
    for (family::Family& f : *all) {
        if (f.id == id) return std::move(f);
        names.push_back(f.id);
    }
    return bad_input("family-unknown", printable(id), "no family of that name; known here: " + join(names, ", "),
                     "check the spelling, or add its file with: fettle family add FILE");
}

}  // namespace fettle::app
