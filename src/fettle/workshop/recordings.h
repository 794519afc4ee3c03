// Recordings of exchanges over the link: played back on this machine, copied without names, and erased for a customer.
#pragma once

#include <functional>
#include <set>
#include <string>
#include <vector>

#include "fettle/base/verdict.h"
#include "fettle/workshop/workshop.h"

namespace fettle::workshop {

struct ReplayRequest {
    std::string file;                        // a pcapng recording
    std::string listen = "127.0.0.1:13400";  // ADDR:PORT; port 0: any free one
    double stay_s = 0;                       // 0: until it is ended from outside; usage "bad-stay" beyond a week
    std::function<void(const std::string& address)> listens{};  // told once for each address, before it answers
};
struct Replayed {
    std::string file;
    std::vector<std::string> listened;  // "doip://127.0.0.1:13400", "can://…"
    std::size_t asked = 0, recorded = 0;
    std::set<std::string> not_in_it;
    bool cut_short = false;  // the recording ends in mid packet
    Judgement judgement;
};
// The boxes of a recording on this machine, saying what they said then.
Result<Replayed> replay_recording(const Workshop& shop, const ReplayRequest& request);

struct BlankRequest {
    std::string file, out;          // out: a new file; outside "recording-not-written" when it is there
    std::vector<std::string> dids;  // "0xF1A5": further identifiers whose records name somebody; usage "bad-identifier"
};
struct Blanked {
    std::string out;
    std::size_t bytes_changed = 0;
    Judgement judgement;
};
// A copy of a recording without VIN and serial numbers.
Result<Blanked> blank_recording(const Workshop& shop, const BlankRequest& request);

struct EraseRequest {
    std::string job, by;  // usage "erase-without-name"
};
struct ErasedFile {
    std::string file;    // as the journal has it
    std::string sha256;  // empty: not known
    bool was_gone = false;
};
struct Erased {
    std::vector<ErasedFile> files;
    std::vector<std::string> left;  // could not be erased; the judgement says why
    Judgement judgement;
};
// Every recording of a job, gone: because its customer wants it. That they were there stays in the journal, by digest.
Result<Erased> erase_recordings(const Workshop& shop, const EraseRequest& request);

}  // namespace fettle::workshop
