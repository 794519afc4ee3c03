// What stands on the disk but is not whole yet. When somebody ends the program (Ctrl-C, a closed terminal, a plain
// kill), it is removed first. After a kill that nothing can answer to, the next run finds it and clears it away; that
// is the business of whoever made it.
#pragma once

#include <filesystem>
#include <functional>
#include <mutex>

namespace fettle {

class HalfDone {
public:
    enum class What { all, inside };  // inside: the folder was there before, only what is in it goes

    // Made just now, and half done until this object ends: by then it is whole, or was removed.
    explicit HalfDone(std::filesystem::path path, What what = What::all);
    // For what may have become somebody else's meanwhile: `clear` decides and removes, instead of the above. It is
    // called on a thread of its own while all others go on, after everything that is half done below the path was
    // removed.
    HalfDone(std::filesystem::path path, std::function<void()> clear);
    ~HalfDone();
    HalfDone(const HalfDone&) = delete;
    HalfDone& operator=(const HalfDone&) = delete;

private:
    std::filesystem::path path_;
};

// Taken while a folder is made. Whoever asks after the program began to end waits for ever: what was cleared away does
// not come back by a thread that still works in it.
std::unique_lock<std::mutex> hold_off_the_end();

// Once, before any other thread is started: from then on SIGINT, SIGTERM and SIGHUP remove what is half done and then
// end the program as they always do. Those of them that are ignored stay so.
void clear_away_when_ended();

}  // namespace fettle
