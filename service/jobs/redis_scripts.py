"""Lua scripts: each changes a job in one step, so that a crash leaves it whole.

Keys, all below a prefix: ``job:<id>`` (hash), ``item:<id>:<n>`` (hash), ``artwork:<id>:<n>``,
``body:<id>:<n>``, ``events:<id>`` (list of JSON), ``owned:<owner>`` (sorted set, by time), ``open`` and
``running`` (sets of ``<id>.<n>`` that have not ended, and that are worked on), ``hooks``, ``expiry`` and
``unended`` (sorted sets of jobs, by time), ``counters`` (hash). The scripts make the names of keys
themselves, so a cluster of several shards is not supported.
"""

from __future__ import annotations

_COMMON = """
local p, id = KEYS[1], ARGV[1]
local job = p .. 'job:' .. id
local function item_key(n) return p .. 'item:' .. id .. ':' .. n end
local function is_open(state) return state == 'queued' or state == 'running' end
local function emit(kind, n, state)
  local f = redis.call('HMGET', job, 'state', 'total', 'ended', 'failed')
  local data = {kind = kind, state = f[1], total = tonumber(f[2]), ended = tonumber(f[3]),
                failed = tonumber(f[4])}
  if n then data.item = {n = tonumber(n), state = state} end
  redis.call('RPUSH', p .. 'events:' .. id, cjson.encode(data))
end
local function close(state, now, keep)
  local f = redis.call('HMGET', job, 'state', 'total', 'ended', 'hook')
  if is_open(f[1]) and tonumber(f[2]) == tonumber(f[3]) then
    local expires = string.format('%.3f', tonumber(now) + tonumber(keep))
    redis.call('HSET', job, 'state', state, 'finished', now, 'expires', expires)
    redis.call('ZADD', p .. 'expiry', expires, id)
    redis.call('ZREM', p .. 'unended', id)
    if state == 'done' and tonumber(redis.call('HGET', job, 'failed')) > 0 then state = 'failed' end
    redis.call('HINCRBY', p .. 'counters', state, 1)
    if f[4] == 'pending' then redis.call('ZADD', p .. 'hooks', now, id) end
    emit('job')
  end
end
"""

ADD = (
    _COMMON
    + """
-- Also a call repeated by the client library, after a connection broke before the answer came.
if redis.call('EXISTS', job) == 1 then return -1 end
local owner, created, about, hook, backlog = ARGV[2], ARGV[3], ARGV[4], ARGV[5], tonumber(ARGV[6])
local total = (#ARGV - 6) / 2
local waiting = redis.call('SCARD', p .. 'open')
if waiting + total > backlog then return waiting end
redis.call('HSET', job, 'about', about, 'total', total, 'ended', 0, 'failed', 0, 'state', 'queued',
           'hook', hook, 'hook_attempts', 0)
for n = 1, total do
  redis.call('HSET', item_key(n), 'state', 'queued', 'attempts', 0, 'name', ARGV[5 + 2 * n])
  redis.call('SET', p .. 'artwork:' .. id .. ':' .. n, ARGV[6 + 2 * n])
  redis.call('SADD', p .. 'open', id .. '.' .. n)
end
redis.call('ZADD', p .. 'owned:' .. owner, created, id)
redis.call('ZADD', p .. 'unended', created, id)
redis.call('HINCRBY', p .. 'counters', 'accepted', 1)
emit('job')
return -1
"""
)

READ = (
    _COMMON
    + """
local found = redis.call('HGETALL', job)
if #found == 0 then return false end
local out = {found, redis.call('LLEN', p .. 'events:' .. id)}
for n = 1, tonumber(redis.call('HGET', job, 'total')) do
  out[n + 2] = redis.call('HMGET', item_key(n), 'name', 'state', 'attempts', 'head')
end
return out
"""
)

BEGIN = (
    _COMMON
    + """
local n = ARGV[2]
if not is_open(redis.call('HGET', item_key(n), 'state')) then return false end
local attempts = redis.call('HINCRBY', item_key(n), 'attempts', 1)
redis.call('HSET', item_key(n), 'state', 'running')
redis.call('SADD', p .. 'running', id .. '.' .. n)
redis.call('HSET', job, 'state', 'running')
emit('item', n, 'running')
return {attempts, redis.call('HGET', item_key(n), 'name'), redis.call('HGET', job, 'about'),
        redis.call('GET', p .. 'artwork:' .. id .. ':' .. n)}
"""
)

FINISH = (
    _COMMON
    + """
local n, state, head, body, failed, now, keep = ARGV[2], ARGV[3], ARGV[4], ARGV[5], ARGV[6], ARGV[7], ARGV[8]
if not is_open(redis.call('HGET', item_key(n), 'state')) then return 0 end
redis.call('HSET', item_key(n), 'state', state, 'head', head)
redis.call('SET', p .. 'body:' .. id .. ':' .. n, body)
redis.call('DEL', p .. 'artwork:' .. id .. ':' .. n)
redis.call('SREM', p .. 'open', id .. '.' .. n)
redis.call('SREM', p .. 'running', id .. '.' .. n)
redis.call('HINCRBY', job, 'ended', 1)
redis.call('HINCRBY', job, 'failed', failed)
emit('item', n, state)
close('done', now, keep)
return 1
"""
)

GIVE_BACK = (
    _COMMON
    + """
local n = ARGV[2]
if not is_open(redis.call('HGET', item_key(n), 'state')) then return 0 end
redis.call('HSET', item_key(n), 'state', 'queued')
redis.call('SREM', p .. 'running', id .. '.' .. n)
if tonumber(redis.call('HGET', item_key(n), 'attempts')) > 0 then
  redis.call('HINCRBY', item_key(n), 'attempts', -1)
end
return 1
"""
)

CANCEL = (
    _COMMON
    + """
local total = redis.call('HGET', job, 'total')
if not total then return 0 end
for n = 1, tonumber(total) do
  if is_open(redis.call('HGET', item_key(n), 'state')) then
    redis.call('HSET', item_key(n), 'state', 'cancelled')
    redis.call('DEL', p .. 'artwork:' .. id .. ':' .. n)
    redis.call('SREM', p .. 'open', id .. '.' .. n)
    redis.call('SREM', p .. 'running', id .. '.' .. n)
    redis.call('HINCRBY', job, 'ended', 1)
  end
end
close('cancelled', ARGV[2], ARGV[3])
return 1
"""
)

ERASE = (
    _COMMON
    + """
local total = redis.call('HGET', job, 'total')
if not total then return 0 end
local owner = cjson.decode(redis.call('HGET', job, 'about')).owner
for n = 1, tonumber(total) do
  local one = id .. ':' .. n
  redis.call('DEL', item_key(n), p .. 'artwork:' .. one, p .. 'body:' .. one)
  redis.call('SREM', p .. 'open', id .. '.' .. n)
  redis.call('SREM', p .. 'running', id .. '.' .. n)
end
if redis.call('ZREM', p .. 'unended', id) == 1 then
  redis.call('HINCRBY', p .. 'counters', 'cancelled', 1)
end
redis.call('ZREM', p .. 'owned:' .. owner, id)
redis.call('ZREM', p .. 'hooks', id)
redis.call('ZREM', p .. 'expiry', id)
redis.call('DEL', job, p .. 'events:' .. id)
return 1
"""
)

TALLY = """
local p = KEYS[1]
local oldest = redis.call('ZRANGE', p .. 'unended', 0, 0, 'WITHSCORES')
return {redis.call('HGETALL', p .. 'counters'), redis.call('SCARD', p .. 'open'),
        redis.call('SCARD', p .. 'running'), oldest[2] or ''}
"""

DUE_WEBHOOK = """
local due = redis.call('ZRANGEBYSCORE', KEYS[1] .. 'hooks', '-inf', ARGV[1], 'LIMIT', 0, 1)
if #due == 0 then return false end
redis.call('ZADD', KEYS[1] .. 'hooks', ARGV[2], due[1])
return due[1]
"""

SETTLE_WEBHOOK = (
    _COMMON
    + """
if redis.call('EXISTS', job) == 0 then return 0 end
redis.call('HSET', job, 'hook', ARGV[2])
redis.call('HINCRBY', job, 'hook_attempts', 1)
if ARGV[3] == '' then redis.call('ZREM', p .. 'hooks', id)
else redis.call('ZADD', p .. 'hooks', ARGV[3], id) end
return 1
"""
)
