;;; session.el --- a session in Emacs: findings, hover, a fix, a rename  -*- lexical-binding: t -*-
;; The display is named by SESSION_FILE, the program by TINSEL.
(require 'package)
(package-initialize)
(require 'eglot)
(require 'flymake)
(require 'cl-lib)

(define-derived-mode tinsel-mode prog-mode "tinsel")
(add-to-list 'auto-mode-alist '("\\.tinsel\\'" . tinsel-mode))
(add-to-list 'eglot-server-programs `(tinsel-mode . (,(getenv "TINSEL") "lsp")))
(setq eglot-confirm-server-initiated-edits nil
      eglot-events-buffer-size 0
      make-backup-files nil)

(defun session-await (what ready)
  "Wait until READY returns something; fail with WHAT."
  (let ((until (+ (float-time) 30)))
    (while (not (funcall ready))
      (when (> (float-time) until)
        (message "emacs: waited in vain for %s" what)
        (kill-emacs 1))
      (accept-process-output nil 0.05))))

(defun session-errors ()
  "The errors that are shown."
  (cl-remove-if-not
   (lambda (one) (memq (flymake-diagnostic-type one) '(eglot-error :error)))
   (flymake-diagnostics)))

(defun session-go (text offset)
  "Go to TEXT and OFFSET characters further."
  (goto-char (point-min))
  (search-forward text)
  (goto-char (+ (match-beginning 0) offset)))

(defun session-has (text)
  "Whether the buffer has TEXT."
  (save-excursion (goto-char (point-min)) (search-forward text nil t)))

(find-file (getenv "SESSION_FILE"))
(apply #'eglot--connect (eglot--guess-contact))
(session-await "the server" #'eglot-current-server)
(flymake-mode 1)
(flymake-start)
(session-await "a finding" (lambda () (= (length (session-errors)) 1)))

(session-go "-> wreth" 4)
(cl-letf (((symbol-function 'completing-read)
           (lambda (_prompt entries &rest _) (let ((one (car entries))) (if (consp one) (car one) one)))))
  (eglot-code-actions (point) (point) "quickfix" t))
(session-await "the fix" (lambda () (session-has "-> wreath ->")))
(eglot--signal-textDocument/didChange)
(session-await "no finding" (lambda () (flymake-start) (null (session-errors))))

(session-go "-> wreath" 4)
(let ((hover (jsonrpc-request (eglot--current-server-or-lose) :textDocument/hover
                              (eglot--TextDocumentPositionParams))))
  (unless (string-match-p "porch\\.1" (format "%s" hover))
    (message "emacs: hover says %s" hover)
    (kill-emacs 1)))

(session-go "prop fence" 5)
(eglot-rename "hedge")
(session-await "the rename" (lambda () (and (session-has "wire porch.3: hedge") (session-has "renamed fence -> hedge"))))
(save-buffer)
(kill-emacs 0)
;;; session.el ends here
