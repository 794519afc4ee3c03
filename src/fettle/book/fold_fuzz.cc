// Any bytes as a journal: one entry a line, its type, a blank, its data. Folding must answer or refuse; an entry that
// check_entry takes must not be what makes a fold fail by its form.
#include <cstdint>
#include <cstdlib>
#include <string>

#include "fettle/base/text.h"
#include "fettle/book/job.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    std::vector<book::Entry> entries;
    bool all_well_formed = true;
    bool corrects = false;
    for (const std::string& line : split({reinterpret_cast<const char*>(data), size}, '\n')) {
        if (entries.size() >= 64) break;
        const std::size_t blank = line.find(' ');
        book::Entry e;
        e.number = static_cast<std::int64_t>(entries.size()) + 1;
        e.type = line.substr(0, blank);
        e.data = blank == std::string::npos ? "" : line.substr(blank + 1);
        if ((e.type == "opened") != (e.number == 1)) all_well_formed = false;
        all_well_formed = all_well_formed && book::check_entry(e.type, e.data).has_value();
        corrects = corrects || e.type == "corrects";
        entries.push_back(std::move(e));
    }
    const auto job = book::fold("0001X", entries);
    if (!job && all_well_formed && !corrects) std::abort();
    return 0;
}
