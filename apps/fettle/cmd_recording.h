// fettle link replay, link blank, link erase.
#pragma once

#include <string>
#include <vector>

#include "context.h"

namespace fettle::app {

struct LinkReplayOptions {
    std::string file;                        // FILE: a pcapng recording
    std::string listen = "127.0.0.1:13400";  // --listen ADDR:PORT; port 0: any free one
    double stay_s = 0;                       // --stay S; 0: until it is ended from outside
};
// The boxes of a recording on this machine, saying what they said then. Tells on standard error where it listens.
Result<Answer> link_replay(Context& context, const LinkReplayOptions& options);

struct LinkBlankOptions {
    std::string file;
    std::string out;                // --out FILE; a new file
    std::vector<std::string> dids;  // --did 0xF1A5: further identifiers whose records name somebody
};
// A copy of a recording without VIN and serial numbers.
Result<Answer> link_blank(Context& context, const LinkBlankOptions& options);

struct LinkEraseOptions {
    std::string job;  // J
    std::string by;   // --by NAME
};
// Every recording of a job, gone: because its customer wants it. That they were there stays in the journal, by digest.
Result<Answer> link_erase(Context& context, const LinkEraseOptions& options);

}  // namespace fettle::app
