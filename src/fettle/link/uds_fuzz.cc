// Any bytes as an answer of a box: nothing may crash, no list may hold more than the answer has room for, and no record
// layout may give a piece that was not there.
#include <algorithm>
#include <cstdlib>

#include "fettle/link/gate.h"
#include "fettle/link/inventory.h"
#include "fettle/link/uds.h"

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
    using namespace fettle;
    using namespace fettle::link;
    const ByteView input(data, size);
    if (const auto codes = uds::parse_codes(input))
        if (codes->codes.size() * 4 + 3 != size) std::abort();
    for (const auto& r :
         {uds::ReadRequest::identifier(0xF195), uds::ReadRequest::codes(0xFF), uds::ReadRequest::tester_present()})
        (void)uds::look_at(r, input);
    (void)uds::identifier_data(0xF195, input);
    for (const auto& r : {uds::ReadRequest::snapshot(0x9A4F13), uds::ReadRequest::extended_data(1)})
        (void)uds::look_at(r, input);
    if (const auto records = uds::parse_records(input))
        if (records->records.size() + 6 != size) std::abort();
    family::LinkBox record;
    record.did_release = 0xF195;
    if (snapshot_words(input, record).empty() != input.empty()) std::abort();
    if (extended_words(input).empty() != input.empty()) std::abort();
    if (held_back(Phase::no_run, input, true).empty() && input[0] != 0x14 && !uds::ReadRequest::from_bytes(input))
        std::abort();
    if (const auto allowed = uds::ReadRequest::from_bytes(input))
        if (allowed->service() != 0x10 && allowed->service() != 0x19 && allowed->service() != 0x22 &&
            allowed->service() != 0x3E)
            std::abort();
    if (const auto pieces = parse_lines_record(input)) {
        std::string text;
        for (const auto& p : *pieces) text += p.name + " " + p.version + "\n";
        const auto again = parse_lines_record(as_bytes(text));
        if (!again || *again != *pieces) std::abort();
    }
    if (const auto history = parse_history_record(input, false)) {
        auto back = parse_history_record(input, true);
        if (!back) std::abort();
        std::reverse(back->begin(), back->end());
        if (*back != *history) std::abort();
    }
    return 0;
}
