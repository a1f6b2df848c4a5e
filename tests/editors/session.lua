-- A session in Neovim: findings, hover, a fix, a rename. The display is named by SESSION_FILE, the program by TINSEL.
local file = os.getenv('SESSION_FILE')

local function fail(what)
  io.stderr:write('neovim: ' .. what .. '\n')
  vim.cmd('cquit 1')
end

local function await(what, ready)
  if not vim.wait(30000, ready, 20) then
    fail('waited in vain for ' .. what)
  end
end

local function text()
  return table.concat(vim.api.nvim_buf_get_lines(0, 0, -1, false), '\n')
end

local function go(pattern, offset)
  vim.api.nvim_win_set_cursor(0, { 1, 0 })
  if vim.fn.search(pattern) == 0 then
    fail('no ' .. pattern)
  end
  local place = vim.api.nvim_win_get_cursor(0)
  vim.api.nvim_win_set_cursor(0, { place[1], place[2] + offset })
end

-- Where an editor asks which action to take, the first one is.
vim.ui.select = function(items, _, chosen)
  chosen(items[1], 1)
end

vim.cmd('edit ' .. vim.fn.fnameescape(file))
local buffer = vim.api.nvim_get_current_buf()
local client = vim.lsp.start_client({
  name = 'tinsel',
  cmd = { os.getenv('TINSEL'), 'lsp' },
  root_dir = vim.fn.fnamemodify(file, ':h'),
})
vim.lsp.buf_attach_client(buffer, client)

local function findings()
  return vim.diagnostic.get(buffer, { severity = vim.diagnostic.severity.ERROR })
end

await('a finding', function() return #findings() == 1 end)
if not findings()[1].message:find('wreth') then
  fail('another finding: ' .. findings()[1].message)
end

go('-> wreth', 4)
vim.lsp.buf.code_action()
await('the fix', function() return text():find('-> wreath ->', 1, true) ~= nil end)
await('no finding', function() return #findings() == 0 end)

go('-> wreath', 4)
vim.lsp.buf.hover()
await('hover', function()
  for _, window in ipairs(vim.api.nvim_list_wins()) do
    local shown = vim.api.nvim_buf_get_lines(vim.api.nvim_win_get_buf(window), 0, -1, false)
    if vim.api.nvim_win_get_config(window).relative ~= '' and table.concat(shown, '\n'):find('porch.1', 1, true) then
      return true
    end
  end
  return false
end)

go('prop fence', 5)
vim.lsp.buf.rename('hedge')
await('the rename', function()
  return text():find('wire porch.3: hedge', 1, true) ~= nil and text():find('renamed fence %-> hedge') ~= nil
end)
await('no finding after the rename', function() return #findings() == 0 end)
vim.cmd('write')
vim.cmd('qall!')
